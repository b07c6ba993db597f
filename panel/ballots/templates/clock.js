(function(){var p=document.getElementById("left"),end=Date.now()+p.dataset.seconds*1e3;
(function tick(){var s=Math.ceil((end-Date.now())/1e3);
p.textContent=s>0?", in "+Math.floor(s/60)+" min "+s%60+" s":", now";if(s>0)setTimeout(tick,500)})()})();
