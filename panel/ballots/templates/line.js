try{Object.keys(sessionStorage).forEach(function(k){if(k.indexOf(location.pathname+"v"))sessionStorage.removeItem(k)})}catch(x){}
document.querySelectorAll(".n").forEach(function(l){
var t=l.querySelector("input"),f=l.closest("fieldset"),c=f.querySelector("[type=checkbox]"),e=f.querySelectorAll(".ends span"),
r=document.createElement("input"),a=+t.dataset.low,b=+t.dataset.high,key=location.pathname+t.name;
function show(v){r.value=v;r.className="";t.value=Math.round(r.value*1000)/1000;c.checked=false;
r.setAttribute("aria-valuetext",Math.round((r.value-a)/(b-a)*100)+" percent of the line");keep()}
function clear(){t.value="";r.className="blank";r.setAttribute("aria-valuetext","no mark yet")}
function keep(){try{sessionStorage[key]=t.value}catch(x){}}
r.type="range";r.min=a;r.max=b;r.step=(b-a)/1000;r.value=(a+b)/2;
r.setAttribute("aria-label",f.querySelector("legend").textContent+", from "+e[0].textContent+" to "+e[1].textContent);
r.oninput=function(){show(r.value)};
r.onclick=function(x){var o=r.getBoundingClientRect();if(x.detail)
show(a+(b-a)*Math.min(1,Math.max(0,(x.clientX-o.left-14)/(o.width-28))))};
r.onkeydown=function(x){var s=(b-a)/100,d={ArrowLeft:-s,ArrowDown:-s,ArrowRight:s,ArrowUp:s,PageDown:-10*s,PageUp:10*s}[x.key],
to=x.key=="Home"?a:x.key=="End"?b:d?(r.className?(a+b)/2:+r.value+d):null;
if(to!=null){x.preventDefault();show(to)}};
c.onchange=function(){if(c.checked){clear();keep()}};
clear();l.before(r);l.hidden=true;
try{if(sessionStorage[key]&&!t.dataset.given)show(sessionStorage[key])}catch(x){}});
