// What runs in the browser beside Streamlit; it stands in the page itself, and the page's policy names its hash.

// Told where its server is, the page does not first look for it below its own address.
window.__streamlit = {BACKEND_BASE_URL: location.origin};

// On a phone the places lie in a panel over the page, which Streamlit leaves open when one was chosen.
document.addEventListener('click', event => {
  if (innerWidth < 768 && event.target.closest('[data-testid=stSidebarNavLink]'))
    setTimeout(() => document.querySelector('[data-testid=stSidebarCollapseButton] button')?.click(), 0);
});

// What is typed into a field or chosen is kept in this browser until it is saved or given up: it outlives a reload,
// another part, and the app. It is put back only where the field holds what it held when typing or choosing began.
(() => {
  const KEPT = 'typed\n', CELL = 'cell\n', DAYS = 90;
  const FIELDS = ':is([data-testid=stTextInput],[data-testid=stTextArea]) :is(input:not([type=password]),textarea)';
  // What is chosen only to look at something waits for no saving: it is kept in forms and where tests are made.
  const MADE = ['/study', '/test', '/say', '/next'];
  const CHOICES = ':is([data-testid=stSelectbox],[data-testid=stMultiSelect],[data-testid=stCheckbox],' +
    '[data-testid=stRadio],[data-testid=stSlider])';
  // A cell goes into its grid as soon as it is left; a tick that something is meant is set each time.
  const NEVER = '[class*=st-key-wrong],[class*=st-key-all-rows],[class*=st-key-sure]';
  const met = new WeakMap(); // each field in the page, and under which name its text is kept
  const before = new WeakMap(); // what each field held when she came to it
  const told = new Set(), opened = new Set(); // what was said to be done; the drawers that were opened
  const back = new Set(); // the names of what was put back: a field that is drawn anew says so again
  const changed = new WeakSet(); // fields that held something else; on a slow machine one is drawn before it is filled
  let grid = null, cell = ''; // the grid she is in, and under which name the text of its open cell is kept
  let pressed = [], putting = false, due = 0, queue = Promise.resolve();

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
    const label = field.getAttribute('aria-label') ?? field.querySelector('[data-testid=stWidgetLabel]')?.textContent;
    const name = KEPT + [...placeOf(), ...keys, label].join('\n');
    counted.set(name, (counted.get(name) ?? 0) + 1);
    return `${name}\n${counted.get(name)}`;
  }

  function fields() {
    const choices = MADE.includes(location.pathname) ? CHOICES : `[data-testid=stForm] ${CHOICES}`;
    const found = [...document.querySelectorAll(`${FIELDS},${choices}`)];
    return found.filter(one => !one.matches(CHOICES) || !one.closest(NEVER));
  }

  const tagsOf = box => [...box.querySelectorAll('[data-tag]')];
  const withText = (list, ...words) => [...list].find(one => words.includes(one.textContent));

  // What a field holds, as text; of several that are chosen each on a line.
  function held(field) {
    if (!field.matches(CHOICES)) return field.value;
    const input = field.querySelector('input');
    if (field.matches('[data-testid=stMultiSelect]'))
      return [...new Set(tagsOf(field).map(one => one.getAttribute('aria-label')))].join('\n');
    if (input.type === 'checkbox') return input.checked ? 'yes' : '';
    if (input.type === 'radio') return field.querySelector('input:checked')?.closest('label').textContent ?? '';
    return input.value;
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

  function writeInto(field, text) {
    const kind = field.tagName === 'TEXTAREA' ? HTMLTextAreaElement : HTMLInputElement;
    Object.getOwnPropertyDescriptor(kind.prototype, 'value').set.call(field, text);
    field.dispatchEvent(new Event('input', {bubbles: true}));
  }

  // Put a text into a field, or choose it as a hand would, one choice after the other; then go on with `then`.
  function put(field, text, then = () => {}) {
    if (field.matches(CHOICES)) {
      queue = queue.then(() => choose(field, text)).then(then);
      return;
    }
    putting = true;
    writeInto(field, text);
    if (field !== document.activeElement) field.dispatchEvent(new FocusEvent('focusout', {bubbles: true}));
    putting = false;
    then();
  }

  const rest = (time = 50) => new Promise(done => { setTimeout(done, time); });

  async function until(find) {
    for (let tries = 0; tries < 40; tries++, await rest()) {
      const found = find();
      if (found) return found;
    }
    return null;
  }

  async function choose(box, text) {
    const was = document.activeElement, kind = box.querySelector('input').type;
    open(box.closest('details:not([open])'));
    putting = true;
    if (kind === 'checkbox') {
      if (held(box) !== text) box.querySelector('input').click();
    } else if (kind === 'radio') {
      withText(box.querySelectorAll('label:has(input)'), text)?.querySelector('input').click();
    } else if (kind === 'range') {
      writeInto(box.querySelector('input'), text);
    } else {
      const now = held(box).split('\n'), wanted = text.split('\n');
      if (box.matches('[data-testid=stMultiSelect]'))
        for (const word of now.filter(one => one && !wanted.includes(one)))
          tagsOf(box).findLast(one => one.getAttribute('aria-label') === word)?.querySelector('button').click();
      for (const word of wanted.filter(one => one && !now.includes(one))) await pick(box, word);
      if (!text) box.querySelector('button[aria-label^=Clear]')?.click();
    }
    await until(() => held(box) === text);
    putting = false;
    if (was?.isConnected && was !== document.body) was.focus({preventScroll: true});
  }

  async function pick(box, word) {
    const field = await until(() => box.offsetParent && box.querySelector('input[role=combobox]'));
    if (!field) return;
    field.focus({preventScroll: true});
    writeInto(field, word);
    const option = await until(() => withText(document.querySelectorAll('[role=option]'), word, `Add: ${word}`));
    option?.click();
    await rest();
    field.blur();
    await rest();
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
    const was = met.get(field), done = field.matches(CHOICES) ? 'chosen' : 'typed';
    if (was && field === document.activeElement && read(was)?.text === held(field)) { // renamed while she types
      write(name, read(was));
      localStorage.removeItem(was);
      if (back.delete(was)) back.add(name);
    }
    const kept = read(name);
    met.set(field, name);
    if (!before.has(field) || field !== document.activeElement) before.set(field, held(field)); // she may be typing
    unsign(field);
    changed.delete(field);
    const forget = () => { localStorage.removeItem(name); back.delete(name); };
    const restored = () => {
      back.add(name);
      sign(field, `Put back what you had ${done}.`, ['Give it up', () => { forget(); put(field, kept.base); }]);
    };
    if (kept?.text === held(field) && back.has(name)) restored();
    if (!kept || kept.text === held(field)) return;
    const text = kept.text.replaceAll('\n', ', '), short = text.length > 80 ? `${text.slice(0, 80)} ...` : text;
    const lost = `You had ${done} \u201c${short}\u201d here and not saved it; `;
    if (held(field) === kept.base) {
      put(field, kept.text, () => {
        if (held(field) === kept.text) restored();
        else sign(field, `${lost}it is no longer among the choices.`, ['Forget mine', forget]);
      });
      open(field.closest('details:not([open])'));
    } else {
      changed.add(field);
      until(() => held(field) === kept.base).then(soon);
      sign(field, `${lost}since then this was changed.`,
        ['Put mine in', () => { write(name, {base: held(field), text: kept.text}); put(field, kept.text); }],
        ['Forget mine', forget]);
    }
  }

  // The text of a cell that is still open is in no grid yet, and cannot be put back there: a sentence gives it back.
  const TYPING = '.gdg-clip-region :is(input,textarea)';

  function nameOfGrid(one) {
    const key = [...one.closest('[class*=st-key-]')?.classList ?? []].find(word => word.startsWith('st-key-'));
    return CELL + [...placeOf(), key?.replace(/-[0-9a-f]{64}.*/, '')].join('\n');
  }

  function keepCell(text) {
    const place = grid.querySelector('[role=gridcell][aria-selected=true]');
    const column = place?.getAttribute('aria-colindex');
    const row = place?.closest('[aria-rowindex]')?.getAttribute('aria-rowindex') - 1;
    const heading = grid.querySelector(`[role=columnheader][aria-colindex="${column}"]`)?.textContent;
    cell = nameOfGrid(grid);
    write(cell, {text, where: place ? `row ${row}, ${heading}` : 'a cell'});
    unsign(grid);
  }

  function lookAtGrids() {
    if (cell && !document.querySelector(TYPING)) {
      localStorage.removeItem(cell);
      cell = '';
    }
    for (const one of document.querySelectorAll('[data-testid=stDataFrame]')) {
      const name = nameOfGrid(one), forget = () => localStorage.removeItem(name);
      const kept = met.get(one) !== name && read(name);
      met.set(one, name);
      if (kept && !cell)
        sign(one, `You were typing \u201c${kept.text}\u201d in ${kept.where}; it is not in the table.`,
          ['Copy it', () => navigator.clipboard.writeText(kept.text).then(forget)], ['Forget it', forget]);
    }
  }

  // What a pressed button would save: the fields of its form, and the round ones outside that say which form is shown;
  // outside of a form, every field that is in none.
  function press(within) {
    const belongs = (field, form) => form === within || (!form && field.matches('[data-testid=stRadio]'));
    pressed = fields().filter(field => belongs(field, field.closest('[data-testid=stForm]')) && met.has(field))
      .map(field => [met.get(field), held(field)]);
  }

  function saved() {
    for (const [name, text] of pressed.filter(([one, now]) => read(one)?.text === now)) {
      localStorage.removeItem(name);
      back.delete(name);
    }
    if (pressed.length) document.querySelectorAll('.put-back').forEach(line => line.remove());
    pressed = [];
    fields().forEach(field => before.set(field, held(field)));
  }

  function look() {
    due = 0;
    const done = [...document.querySelectorAll('[class*=st-key-done-]')].flatMap(one => [...one.classList])
      .filter(word => word.startsWith('st-key-done-') && !told.has(word));
    done.forEach(word => told.add(word));
    if (done.length) saved();
    const counted = new Map();
    for (const field of fields()) {
      const name = nameOf(field, counted);
      const filled = changed.has(field) && held(field) === read(name)?.base;
      if (met.get(field) !== name || filled) meet(field, name);
    }
    openKept();
    lookAtGrids();
    // Streamlit calls the place for a file presentation, and labels it: to who hears the page it is a group.
    document.querySelectorAll('[data-testid=stFileUploaderDropzone]').forEach(place => place.setAttribute('role', 'group'));
    // What scrolls sideways by itself, a table on a phone, can be reached with the keys.
    for (const part of document.querySelectorAll('[data-testid=stTable] div,[class*=st-key-wide]'))
      if (part.scrollWidth > part.clientWidth) part.tabIndex = 0;
  }

  function keep(field) {
    const name = met.get(field), kept = read(name), text = held(field), base = kept?.base ?? before.get(field) ?? '';
    if (text === (kept?.text ?? base)) return;
    if (text === base) localStorage.removeItem(name);
    else write(name, {base, text});
    back.delete(name);
    unsign(field);
  }

  function keepChosen(box) {
    const typing = box.querySelector('[aria-expanded=true]') && box.matches('[data-testid=stSelectbox]');
    if (!putting && !typing && box.isConnected) keep(box);
  }

  const soon = () => { due ||= setTimeout(look, 30); };
  new MutationObserver(soon).observe(document, {childList: true, subtree: true, attributeFilter: ['class']});
  addEventListener('resize', soon);

  document.addEventListener('focusin', ({target}) => {
    if (target.matches(FIELDS)) before.set(target, target.value);
    grid = target.closest('[data-testid=stDataFrame]') ?? grid;
  });
  document.addEventListener('input', ({target}) => {
    if (grid?.isConnected && target.matches(TYPING)) keepCell(target.value);
    if (putting || !target.matches(FIELDS)) return;
    if (!met.get(target)?.startsWith(KEPT + placeOf().join('\n'))) look(); // the address may have changed since
    keep(target);
  }, true);
  // A list lies beside its field, which keeps the focus; a moment later the field holds what was chosen.
  for (const kind of ['click', 'keyup', 'change', 'focusout'])
    document.addEventListener(kind, ({target}) => {
      const box = target.closest(CHOICES) ?? document.activeElement?.closest(CHOICES);
      if (!putting && box && met.has(box)) setTimeout(keepChosen, 100, box);
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
    for (const name of Object.keys(localStorage).filter(one => one.startsWith(KEPT) || one.startsWith(CELL)))
      if (!(Date.now() - read(name)?.at < DAYS * 864e5)) localStorage.removeItem(name);
  }
  try { forgetOld(); } catch { /* nothing may be kept here */ }
})();
