// What runs in the browser beside Streamlit; it stands in the page itself, and the page's policy names its hash.

// Told where its server is, the page does not first look for it below its own address.
window.__streamlit = {BACKEND_BASE_URL: location.origin};

// On a phone the places lie in a panel over the page, which Streamlit leaves open when one was chosen.
document.addEventListener('click', event => {
  if (innerWidth < 768 && event.target.closest('[data-testid=stSidebarNavLink]'))
    setTimeout(() => document.querySelector('[data-testid=stSidebarCollapseButton] button')?.click(), 0);
});

// What is typed into a field is kept in this browser, letter by letter, until it is saved or given up: it outlives a
// reload, another part, and the app. It is put back only where the field holds what it held when typing began.
(() => {
  const KEPT = 'typed\n', DAYS = 90;
  const FIELDS = ':is([data-testid=stTextInput],[data-testid=stTextArea]) :is(input:not([type=password]),textarea)';
  const met = new WeakMap(); // each field in the page, and under which name its text is kept
  const before = new WeakMap(); // what each field held when she came to it
  const told = new Set(), opened = new Set(); // what was said to be done; the drawers that were opened
  let pressed = [], putting = false, due = 0;

  function read(name) {
    try { return JSON.parse(localStorage.getItem(name)); } catch { return null; }
  }

  function write(name, kept) {
    try { localStorage.setItem(name, JSON.stringify({...kept, at: Date.now()})); } catch { /* full, or not allowed */ }
  }

  function placeOf() {
    const asked = new URLSearchParams(location.search);
    const shown = document.querySelector('.st-key-head [data-testid=stCaptionContainer]')?.textContent; // demo, no folder
    return [asked.get('study') ?? shown ?? '', location.pathname, asked.get('part') ?? ''];
  }

  // Study, place and part; then the keys of what the field lies in and its label. Hashes of content change with every
  // save of anything, so they are no part of the name; equal names are counted.
  function nameOf(field, counted) {
    const keys = [];
    for (let box = field; box; box = box.parentElement)
      for (const word of box.classList)
        if (word.startsWith('st-key-')) keys.unshift(word.replace(/[0-9a-f]{64}/g, ''));
    const name = KEPT + [...placeOf(), ...keys, field.getAttribute('aria-label')].join('\n');
    counted.set(name, (counted.get(name) ?? 0) + 1);
    return `${name}\n${counted.get(name)}`;
  }

  // The drawers that hold what was put back, or will once they are filled, are opened, each once.
  function open(drawer) {
    if (!drawer || opened.has(drawer)) return;
    opened.add(drawer);
    drawer.querySelector('summary').click();
  }

  function openKept() {
    const here = placeOf().join('\n');
    for (const name of Object.keys(localStorage)) {
      if (!name.startsWith(`${KEPT}${here}\n`)) continue;
      for (const word of name.split('\n').filter(one => one.startsWith('st-key-drawer')))
        open(document.querySelector(`.${CSS.escape(word)} details:not([open])`));
    }
  }

  function put(field, text) {
    const kind = field.tagName === 'TEXTAREA' ? HTMLTextAreaElement : HTMLInputElement;
    putting = true;
    Object.getOwnPropertyDescriptor(kind.prototype, 'value').set.call(field, text);
    field.dispatchEvent(new Event('input', {bubbles: true}));
    if (field !== document.activeElement) field.dispatchEvent(new FocusEvent('focusout', {bubbles: true}));
    putting = false;
  }

  // Say below the field what happened, with what can be done about it.
  function sign(field, words, ...ways) {
    unsign(field);
    const line = document.createElement('p');
    line.className = 'put-back';
    line.setAttribute('role', 'status');
    line.append(`${words} `);
    for (const [label, act] of ways) {
      const button = document.createElement('button');
      button.type = 'button';
      button.textContent = label;
      button.addEventListener('click', () => { unsign(field); act(); });
      line.append(button, ' ');
    }
    field.closest('[data-testid=stElementContainer]')?.append(line);
  }

  function unsign(field) {
    field.closest('[data-testid=stElementContainer]')?.querySelector('.put-back')?.remove();
  }

  function meet(field, name) {
    const kept = read(name);
    met.set(field, name);
    unsign(field);
    if (!kept || kept.text === field.value) return;
    if (field.value === kept.base) {
      put(field, kept.text);
      open(field.closest('details:not([open])'));
      sign(field, 'Put back what you had typed.',
        ['Give it up', () => { localStorage.removeItem(name); put(field, kept.base); }]);
    } else {
      const short = kept.text.length > 80 ? `${kept.text.slice(0, 80)} ...` : kept.text;
      sign(field, `You had typed \u201c${short}\u201d here and not saved it; since then this was changed.`,
        ['Put mine in', () => { write(name, {base: field.value, text: kept.text}); put(field, kept.text); }],
        ['Forget mine', () => localStorage.removeItem(name)]);
    }
  }

  // What a pressed button would save: the fields of its form; outside of one, every field that is in none.
  function press(within) {
    pressed = [...document.querySelectorAll(FIELDS)]
      .filter(field => field.closest('[data-testid=stForm]') === within && met.has(field))
      .map(field => [met.get(field), field.value]);
  }

  function saved() {
    for (const [name, text] of pressed) if (read(name)?.text === text) localStorage.removeItem(name);
    if (pressed.length) document.querySelectorAll('.put-back').forEach(line => line.remove());
    pressed = [];
  }

  function look() {
    due = 0;
    const done = [...document.querySelectorAll('[class*=st-key-done-]')].flatMap(one => [...one.classList])
      .filter(word => word.startsWith('st-key-done-') && !told.has(word));
    done.forEach(word => told.add(word));
    if (done.length) saved();
    const counted = new Map();
    for (const field of document.querySelectorAll(FIELDS)) {
      const name = nameOf(field, counted);
      if (met.get(field) !== name) meet(field, name);
    }
    openKept();
    // Streamlit calls the place for a file presentation, and labels it: to who hears the page it is a group.
    document.querySelectorAll('[data-testid=stFileUploaderDropzone]').forEach(place => place.setAttribute('role', 'group'));
    // What scrolls sideways by itself, a table on a phone, can be reached with the keys.
    for (const part of document.querySelectorAll('[data-testid=stTable] div,[class*=st-key-wide]'))
      if (part.scrollWidth > part.clientWidth) part.tabIndex = 0;
  }

  const soon = () => { due ||= setTimeout(look, 30); };
  new MutationObserver(soon).observe(document, {childList: true, subtree: true, attributeFilter: ['class']});
  addEventListener('resize', soon);

  document.addEventListener('focusin', ({target}) => { if (target.matches(FIELDS)) before.set(target, target.value); });
  document.addEventListener('input', ({target}) => {
    if (putting || !target.matches(FIELDS)) return;
    if (!met.has(target)) look();
    const name = met.get(target), base = read(name)?.base ?? before.get(target) ?? '';
    if (target.value === base) localStorage.removeItem(name);
    else write(name, {base, text: target.value});
    unsign(target);
  }, true);
  // What mends a cell goes into its grid as soon as the field is left, and the app keeps that itself.
  document.addEventListener('focusout', ({target}) => {
    if (target.matches(FIELDS) && target.closest('[class*=st-key-wrong]')) localStorage.removeItem(met.get(target));
  });
  document.addEventListener('click', ({target}) => {
    const button = target.closest('button:not(.put-back *)');
    if (button) press(button.closest('[data-testid=stForm]'));
  }, true);
  document.addEventListener('keydown', ({target, key}) => {
    if (key === 'Enter' && target.matches(FIELDS) && target.closest('[data-testid=stForm]'))
      press(target.closest('[data-testid=stForm]'));
  }, true);

  function forgetOld() {
    for (const name of Object.keys(localStorage))
      if (name.startsWith(KEPT) && !(Date.now() - read(name)?.at < DAYS * 864e5)) localStorage.removeItem(name);
  }
  try { forgetOld(); } catch { /* nothing may be kept here */ }
})();
