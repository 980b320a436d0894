// A form on a screen. What it asks and says stands in the page's data; what answers mean, and the
// report, come from the library that the page holds (core.js).
(() => {
  const el = (id) => document.getElementById(id);
  if (typeof DecompressionStream !== 'function' || typeof WebAssembly !== 'object') {
    return;  // what stands in `dead` holds
  }
  const D = JSON.parse(el('data').textContent);
  const Q = D.questions;
  const byKey = new Map(Q.map((q) => [q.key, q]));
  const asked = Q.filter((q) => !q.aside);
  // Questions that are shown together.
  const SCREENS = D.together ? [...new Set(asked.map((q) => q.part))].map((p) => asked.filter((q) => q.part === p))
    : asked.map((q) => [q]);
  const RESULT = SCREENS.length;
  const LIST = -1;
  const HOME = D.together ? LIST : 0;

  let core = null;
  let state = fresh();
  let heard = null;    // what the library says of the answers
  let pages = null;    // the report, as shown and as saved
  let earlier = [];    // texts of records from before
  let kept = true;
  let returnTo = null; // the question whose answer is being changed

  function fresh() {
    return {unit: D.together ? drawn(10) : 'car', at: 0, answers: {}, photos: [], name: '', units: '', begun: 0, day: '',
            asked: [], done: false, made: null};
  }

  function make(name, properties, ...children) {
    const node = Object.assign(document.createElement(name), properties);
    node.append(...children);
    return node;
  }
  const say = (name, values = {}) =>
    Object.entries(values).reduce((text, [key, value]) => text.replace(`{${key}}`, () => value), D.says[name]);

  function today() {
    const d = new Date();
    const two = (n) => String(n).padStart(2, '0');
    return `${d.getFullYear()}-${two(d.getMonth() + 1)}-${two(d.getDate())}`;
  }

  // By chance, without signs that look alike; ten are fifty bits.
  function drawn(length) {
    const signs = '23456789abcdefghijkmnpqrstuvwxyz';
    return [...crypto.getRandomValues(new Uint8Array(length))].map((n) => signs[n % signs.length]).join('');
  }

  // ------------------------------------------------------------- storage

  // What is kept for the next visit is also kept for this tab: a browser may lose sight of the first
  // over a reload (Chromium 156 does for files).
  const stores = ['sessionStorage', 'localStorage'];
  const place = (unit) => `${D.storage}/${unit}`;
  const NOW = `${D.storage}-now`;

  function inStores(what) {
    let fine = true;
    for (const name of stores) {
      try {
        what(window[name]);
      } catch (refused) {
        fine = false;
      }
    }
    return fine;
  }

  function keep() {
    const text = JSON.stringify(state);
    if (state.begun) {
      kept = inStores((store) => store.setItem(place(state.unit), text));
    }
    inStores((store) => store === window.sessionStorage && store.setItem(NOW, state.unit));
    el('trouble').hidden = kept;
  }

  function read(unit) {
    let found = null;
    inStores((store) => {
      found = found || sound(store.getItem(place(unit)));
    });
    return found;
  }

  // A state as this page writes it; what another wrote is left alone.
  function sound(text) {
    try {
      const one = JSON.parse(text || 'null');
      return one && typeof one.answers === 'object' && Number.isInteger(one.at) ? {...fresh(), ...one} : null;
    } catch (broken) {
      return null;
    }
  }

  function all() {
    const units = new Map();
    inStores((store) => {
      for (let i = 0; i < store.length; ++i) {
        const key = store.key(i);
        const one = key.startsWith(place('')) && sound(store.getItem(key));
        if (one && !units.has(one.unit)) {
          units.set(one.unit, one);
        }
      }
    });
    return [...units.values()].sort((a, b) => a.begun - b.begun);
  }

  function forget(unit) {
    inStores((store) => store.removeItem(place(unit)));
    for (const photo of (read(unit) || state).photos) {
      large.remove(photo);
    }
  }

  // What is too large for these: photographs and files of earlier records.
  const large = (() => {
    const memory = new Map();
    const base = new Promise((done) => {
      try {
        const request = indexedDB.open(D.storage, 1);
        request.onupgradeneeded = () => request.result.createObjectStore('large');
        request.onsuccess = () => done(request.result);
        request.onerror = () => done(null);
      } catch (refused) {
        done(null);
      }
    });
    const use = async (mode, what) => {
      const opened = await base;
      return opened ? new Promise((done) => {
        try {
          const transaction = opened.transaction('large', mode);
          const request = what(transaction.objectStore('large'));
          transaction.oncomplete = () => done({value: request.result});
          transaction.onabort = transaction.onerror = () => done(null);
        } catch (refused) {
          done(null);
        }
      }) : null;
    };
    return {
      async put(key, value) {
        memory.set(key, value);
        if (!await use('readwrite', (store) => store.put(value, key))) {
          kept = false;
          el('trouble').hidden = false;
        }
      },
      async get(key) {
        const found = memory.has(key) ? null : await use('readonly', (store) => store.get(key));
        return memory.get(key) || (found && found.value) || null;
      },
      remove(key) {
        memory.delete(key);
        return use('readwrite', (store) => store.delete(key));
      },
    };
  })();

  // ------------------------------------------------------------- answers

  const answer = (q) => state.answers[q.key];
  const given = (q) => {
    const a = answer(q);
    return Boolean(a && (a.words ? a.words.length : a.typed));
  };

  // As the library takes them; `photos`: pictures as text, by the key of their question.
  function request(photos = {}) {
    const answers = {};
    for (const q of Q) {
      const a = answer(q);
      if (q.kind === 'photos') {
        answers[q.key] = {words: photos[q.key] || []};
      } else if (a) {
        answers[q.key] = a.words ? {words: a.words} : {typed: a.typed, unit: a.unit || ''};
      }
    }
    // Answers are of the day on which they were given.
    if (!given(byKey.get(D.date))) {
      answers[D.date] = {typed: state.day || today()};
    }
    if (!D.together && !given(byKey.get(D.id))) {
      state.name = state.name || `car-${drawn(5)}-${drawn(5)}`;
      answers[D.id] = {typed: state.name};
    }
    return {form: D.form, today: today(), answers};
  }

  function listen() {
    if (core) {
      const said = core.answered(request());
      heard = {...said, questions: new Map(said.questions.map((q) => [q.key, q]))};
    }
  }

  const applies = (q) => (heard ? heard.questions.has(q.key) : !q.gated);
  const problem = (q) => (heard && heard.questions.has(q.key) ? heard.questions.get(q.key).problem : '');
  const open = (screen) => SCREENS[screen].some(applies);

  function shown(q) {
    const a = answer(q);
    const now = heard && heard.questions.get(q.key);
    if (q.kind === 'photos') {
      return state.photos.map((photo, n) => say('photo', {n: n + 1})).join('; ');
    }
    if (a && a.words) {
      return a.words.map((w) => (q.choices.find((c) => c.word === w) || {text: w}).text).join('; ');
    }
    const text = now && now.words.length ? now.words[0] : a ? a.typed : '';
    return !text ? '' : q.distance ? `${text} ${D.units.find((u) => u.word === (now ? now.unit : 'km')).text}`
      : q.unit ? `${text} ${q.unit}` : text;
  }

  // ------------------------------------------------------------- questions

  const name = (q) => `answer-${q.key}`;

  function drawing(q, column) {
    const whole = el(`picture-${q.picture}`).querySelector('svg');
    const copy = whole.cloneNode(true);
    if (column !== undefined) {
      copy.querySelectorAll('title, desc, text').forEach((one) => one.remove());
      copy.setAttribute('viewBox', `${100 * column} 0 100 106`);
      copy.removeAttribute('aria-labelledby');
      copy.setAttribute('aria-hidden', 'true');
    }
    return copy;
  }

  function choices(q) {
    const a = answer(q);
    const several = q.kind === 'several';
    const list = [...q.choices, ...(several ? [] : [D.unknown])];
    const unknown = (c) => c === D.unknown && a && a.words && !a.words.length;
    const MOST = 8;
    if (list.length > MOST) {
      const select = make('select', {id: name(q)}, make('option', {value: '', textContent: say('choose')}));
      for (const c of list.slice(0, -1)) {
        select.append(make('option', {value: c.word, textContent: c.text}));
      }
      select.value = a && a.words ? a.words[0] || '' : '';
      select.setAttribute('aria-labelledby', `title-${q.key}`);
      return make('div', {className: 'typed'}, select);
    }
    const box = make('div', {className: q.choices.some((c) => 'column' in c) ? 'choices drawn' : 'choices'});
    for (const c of list) {
      const input = make('input', {type: several ? 'checkbox' : 'radio', name: name(q), value: c.word,
                                   checked: Boolean(unknown(c) || (a && a.words && a.words.includes(c.word)))});
      const text = make('span', {textContent: c.text});
      box.append(make('label', {className: 'choice'}, input, ...('column' in c ? [drawing(q, c.column)] : []), text));
    }
    return box;
  }

  function typed(q) {
    const a = answer(q) || {typed: q.key === D.date ? state.day || today() : '', unit: ''};
    const input = make(q.kind === 'long' ? 'textarea' : 'input', {id: name(q), value: a.typed});
    if (q.kind !== 'long') {
      input.type = q.kind === 'date' ? 'date' : 'text';
      input.autocomplete = 'off';
    }
    if (q.maxLength) {
      input.maxLength = q.maxLength;
    }
    if (q.kind === 'number') {
      input.inputMode = 'decimal';
    }
    if (q.key === D.id) {
      input.setAttribute('list', 'known-units');
    }
    if (q.sample && q.kind !== 'date') {
      input.placeholder = q.sample;
    }
    input.setAttribute('aria-describedby', `help-${q.key} problem-${q.key}`);
    const label = say('answer') + (q.unit ? ` (${q.unit})` : '');
    const box = make('div', {className: 'typed'},
      make('div', {}, make('label', {htmlFor: input.id, textContent: label}), input));
    if (q.distance) {
      const select = make('select', {id: `unit-${q.key}`}, make('option', {value: '', textContent: say('unit')}));
      select.append(...D.units.map((u) => make('option', {value: u.word, textContent: u.text})));
      select.value = a.unit || state.units;
      box.append(make('div', {}, make('label', {htmlFor: select.id, textContent: say('unitLabel')}), select));
    }
    return box;
  }

  function photographs(q) {
    const box = make('div', {className: 'photos'});
    state.photos.forEach((photo, n) => {
      const picture = make('img', {alt: say('photo', {n: n + 1})});
      large.get(photo).then((text) => {
        picture.src = text || '';
      });
      const away = make('button', {type: 'button', textContent: say('remove')});
      away.setAttribute('aria-label', `${say('remove')}: ${say('photo', {n: n + 1})}`);
      away.addEventListener('click', () => {
        state.photos.splice(n, 1);
        large.remove(photo);
        changed();
        showScreen();
      });
      box.append(make('div', {}, picture, away));
    });
    const input = make('input', {type: 'file', accept: 'image/*', multiple: true, id: name(q)});
    input.addEventListener('change', async () => {
      for (const file of input.files) {
        const text = await small(file);
        if (text) {
          const key = `photo-${drawn(10)}`;
          await large.put(key, text);
          state.photos.push(key);
        } else {
          el(`problem-${q.key}`).textContent = say('noPicture', {name: file.name});
          return;
        }
      }
      changed();
      showScreen();
    });
    return make('div', {}, make('label', {htmlFor: input.id, textContent: say('photos')}), input, box);
  }

  // A picture as a record may hold it; null where it is none.
  async function small(file) {
    const MOST_BYTES = 160 * 1024;
    let picture;
    try {
      picture = await createImageBitmap(file);
    } catch (none) {
      return null;
    }
    for (let most = 1280; most > 100; most *= 0.7) {
      const scale = Math.min(1, most / Math.max(picture.width, picture.height));
      const canvas = make('canvas', {width: Math.max(1, Math.round(picture.width * scale)),
                                     height: Math.max(1, Math.round(picture.height * scale))});
      canvas.getContext('2d').drawImage(picture, 0, 0, canvas.width, canvas.height);
      const text = canvas.toDataURL('image/jpeg', 0.7);
      if (text.length * 0.75 < MOST_BYTES) {
        return text;
      }
    }
    return null;
  }

  function showQuestion(q) {
    const heading = D.together ? 'h3' : 'h2';
    const field = make('fieldset', {id: `question-${q.key}`});
    const title = make(heading, {textContent: q.text, tabIndex: -1, id: `title-${q.key}`});
    field.append(make('legend', {}, title));
    const help = make('p', {className: 'quiet', id: `help-${q.key}`, textContent: q.help, hidden: !q.help});
    const wrong = make('p', {className: 'problem', id: `problem-${q.key}`});
    wrong.setAttribute('role', 'alert');
    field.setAttribute('aria-describedby', `${help.id} ${wrong.id}`);
    field.append(help);
    if (q.picture && !q.choices.some((c) => 'column' in c) && !D.together) {
      field.append(make('figure', {}, drawing(q)));
    }
    field.append(q.kind === 'photos' ? photographs(q) : q.choices.length ? choices(q) : typed(q), wrong);
    return field;
  }

  function showScreen() {
    const screen = returnTo ? [returnTo] : SCREENS[state.at];
    const part = D.parts[screen[0].part];
    const open_ = SCREENS.map((s, n) => n).filter(open);
    const n = open_.indexOf(state.at) + 1;
    el('place').textContent = say(D.together ? 'step' : 'question', {n, all: open_.length});
    el('progress').max = open_.length;
    el('progress').value = n - 1;
    el('step').value = String(state.at);
    el('part').textContent = part.title;
    const first = D.together || SCREENS.findIndex((s) => s[0].part === screen[0].part) === state.at;
    el('part-intro').textContent = first ? part.intro : '';
    el('care').replaceChildren(...part.care.map((text) => make('li', {textContent: text})));
    el('care').hidden = !part.care.length;
    el('questions').replaceChildren(...screen.map(showQuestion));
    const skippable = !screen.some((q) => q.required);
    el('skip').hidden = D.together || !skippable || Boolean(returnTo);
    el('back').hidden = Boolean(returnTo) || previous() === null;
    el('intro').hidden = state.at !== 0 || Boolean(returnTo);
    showHeard();
  }

  // What changes while one answers.
  function showHeard() {
    const screen = returnTo ? [returnTo] : SCREENS[state.at];
    for (const q of screen) {
      el(`question-${q.key}`).hidden = !applies(q) && !returnTo;
    }
    const stops = heard ? heard.stop : [];
    fill(el('stop'), stops.map((text) => make('p', {className: 'warning', textContent: text})));
    el('now').hidden = !D.together && (Boolean(returnTo) || (state.at === 0 && !stops.length));
    const keys = screen.map((q) => q.key);
    const found = heard ? heard.found.filter((f) => f.questions.some((key) => keys.includes(key))) : [];
    fill(el('found'), found.map((f) => make('p', {textContent: f.text})));
    el('next').textContent = following() === RESULT ? say('done') : say('next');
  }

  // What stands there already stays, so that it is not read out twice.
  function fill(box, nodes) {
    if (box.textContent !== nodes.map((node) => node.textContent).join('')) {
      box.replaceChildren(...nodes);
    }
  }

  // What stands on the screen becomes the answers.
  function take(screen) {
    for (const q of screen) {
      if (q.kind === 'photos') {
        continue;
      }
      if (!q.choices.length) {
        const typed = el(name(q)).value.replace(/\r\n?/g, '\n');
        const unit = q.distance ? el(`unit-${q.key}`).value : '';
        state.units = typed && unit ? unit : state.units;
        if (q.key !== D.date || answer(q) || typed !== (state.day || today())) {
          put(q, typed || el(name(q)).validity.badInput ? {typed: typed || '?', unit} : null);
        }
      } else if (el(name(q))) {
        put(q, el(name(q)).value ? {words: [el(name(q)).value]} : null);
      } else {
        const marked = [...document.getElementsByName(name(q))].filter((i) => i.checked).map((i) => i.value);
        put(q, marked.length ? {words: marked.filter((w) => w !== D.unknown.word)} : null);
      }
    }
  }

  function put(q, a) {
    if (a) {
      state.answers[q.key] = a;
    } else {
      delete state.answers[q.key];
    }
  }

  function changed() {
    state.made = null;
    state.begun = state.begun || Math.max(Date.now(), ...all().map((one) => one.begun + 1));
    state.day = today();
    listen();
    keep();
  }

  const showing = () => (returnTo ? [returnTo] : state.at >= 0 && state.at < RESULT ? SCREENS[state.at] : []);

  function takeShown() {
    if (showing().length && el('questions').children.length) {
      const before = JSON.stringify(state.answers);
      take(showing());
      if (JSON.stringify(state.answers) !== before) {
        changed();
      }
    }
  }

  // ------------------------------------------------------------- the way

  function previous() {
    for (let n = Math.min(state.at, RESULT) - 1; n >= 0; --n) {
      if (open(n)) {
        return n;
      }
    }
    return D.together && state.at >= 0 ? LIST : null;
  }

  // The next to ask; once there was a report, only what applies since.
  function following() {
    const was = new Set(state.asked);
    const n = SCREENS.findIndex((screen, i) => open(i) &&
      (state.done ? !screen.every((q) => !applies(q) || was.has(q.key)) : i > state.at) && i !== state.at);
    return n < 0 ? RESULT : n;
  }

  function go(at, replace) {
    returnTo = null;
    state.at = at;
    keep();
    try {
      history[replace ? 'replaceState' : 'pushState']({at, unit: state.unit, question: null}, '');
    } catch (refused) {
      // The way back is by the page's own button, then.
    }
    show(true);
  }

  // Shows where `state.at` says; the new heading gets the focus, so that it is read out.
  function show(focus) {
    const at = state.at;
    el('list').hidden = at !== LIST;
    el('ask').hidden = !showing().length;
    el('result').hidden = at !== RESULT || Boolean(returnTo);
    el('title').hidden = at === RESULT && !returnTo;
    el('home').hidden = !D.together || at === LIST;
    el('again').hidden = at === LIST || !state.begun;
    document.title = el('title').textContent;
    if (at === LIST) {
      showList();
    } else if (showing().length) {
      showScreen();
    } else {
      showResult();
    }
    if (focus) {
      scrollTo(0, 0);
      const heading = at === LIST ? el('list-title') : !showing().length ? el('report').querySelector('h1') || el('unfinished')
        : D.together && !returnTo ? el('part') : el(`title-${showing()[0].key}`);
      heading.tabIndex = -1;
      heading.focus();
    }
  }

  // ------------------------------------------------------------- report

  async function withPhotos() {
    const photos = Q.find((q) => q.kind === 'photos');
    if (!photos || !state.photos.length) {
      return heard;
    }
    const texts = await Promise.all(state.photos.map((key) => large.get(key)));
    return core.answered(request({[photos.key]: texts.filter(Boolean)}));
  }

  function showAnswers() {
    const lists = [];
    let part = -1;
    const wrong = [];
    for (const q of Q.filter((one) => applies(one) && (!D.together || given(one) || problem(one) || one.required))) {
      if (q.part !== part) {
        part = q.part;
        lists.push(make('h3', {textContent: D.parts[part].title}), make('ul', {className: 'answers'}));
      }
      const text = shown(q);
      const change = make('button', {type: 'button', className: 'screen', textContent: say('change')});
      change.setAttribute('aria-label', `${say('change')}: ${q.text}`);
      change.addEventListener('click', () => {
        returnTo = q;
        try {
          history.pushState({at: state.at, unit: state.unit, question: q.key}, '');
        } catch (refused) {
          // as in go
        }
        show(true);
      });
      const line = make('div', {}, make('span', {textContent: q.text}),
        make('strong', {textContent: text || say('none'), className: text ? '' : 'quiet'}));
      if (problem(q)) {
        wrong.push(q);
        line.append(make('span', {className: 'problem', textContent: problem(q)}));
      }
      lists[lists.length - 1].append(make('li', {}, line, change));
    }
    el('answers').replaceChildren(...lists);
    return wrong;
  }

  async function showResult() {
    await ready;
    listen();
    const wrong = showAnswers();
    el('unfinished').hidden = !wrong.length;
    el('finished').hidden = wrong.length > 0;
    el('report').replaceChildren();
    el('complaints').replaceChildren();
    el('saved').textContent = '';
    el('plain').hidden = wrong.length > 0;
    el('record').value = heard.records;
    el('all').open = wrong.length > 0;
    if (wrong.length) {
      state.made = null;
      pages = null;
      return;
    }
    const unit = state.unit;
    const {records} = await withPhotos();
    if (state.unit !== unit || state.at !== RESULT) {
      return;
    }
    const id = heard.questions.get(D.id).words[0];
    const answer = core.graded({records: [linesBefore(), records].join(''), name: fileName(id, 'html'), unit: id,
                                format: 'html', today: today(), units: state.units || 'km', saved: records, ...D.report});
    const parsed = new DOMParser().parseFromString(answer.reports[0], 'text/html');
    pages = {id, saved: answer.reports[0]};
    el('record').value = records;
    el('report').replaceChildren(...document.importNode(parsed.querySelector('main'), true).childNodes);
    el('complaints').replaceChildren(...answer.complaints.map((text) => make('li', {textContent: text})));
    document.title = parsed.title;
    state.done = true;
    state.asked = [...new Set([...state.asked, ...Q.filter(applies).map((q) => q.key)])];
    state.made = answer.units[0];
    el('share').hidden = !sendable();
    keep();
    const heading = el('report').querySelector('h1');
    if (heading) {
      heading.tabIndex = -1;
      heading.focus();
    }
  }

  const fileName = (id, end) => `dryshaft-${id.replace(/[^A-Za-z0-9]+/g, '-').replace(/^-|-$/g, '') || 'car'}.${end}`;
  const file = () => new File([pages.saved], fileName(pages.id, 'html'), {type: 'text/html'});

  function sendable() {
    try {
      return navigator.canShare({files: [file()]});
    } catch (none) {
      return false;
    }
  }

  function download(text, name_, type) {
    const url = URL.createObjectURL(new Blob([text], {type}));
    const link = make('a', {href: url, download: name_});
    document.body.append(link);
    link.click();
    link.remove();
    setTimeout(() => URL.revokeObjectURL(url), 60000);
  }

  // ------------------------------------------------------------- many units

  function showList() {
    const rows = all().map((one) => {
      const q = one.answers[D.id];
      const id = (one.made && one.made.id) || (q && q.typed) || say('unnamed');
      const what = one.made ? say('grade', one.made) : say('notFinished');
      const take = make('button', {type: 'button', textContent: say('open')});
      take.setAttribute('aria-label', `${say('open')}: ${id}`);
      take.addEventListener('click', () => {
        state = read(one.unit) || one;
        heard = null;
        listen();
        go(state.made ? RESULT : Math.max(0, state.at));
      });
      return make('li', {}, make('div', {}, make('strong', {textContent: id}), make('span', {textContent: what})), take);
    });
    el('units').replaceChildren(...rows);
    el('export').hidden = !rows.length;
    el('exported').textContent = '';
    showEarlier();
  }

  const linesBefore = () => earlier.map((one) => one.text.trimEnd() + '\n').join('');

  function units() {
    return core ? core.graded({records: linesBefore(), format: 'none'}).units : [];
  }

  function showEarlier() {
    const known = units();
    el('known').textContent = earlier.length ? say('known', {count: known.length}) : '';
    el('forget-earlier').hidden = !earlier.length;
    el('known-units').replaceChildren(...known.map((one) =>
      make('option', {value: one.id, label: say('before', {count: one.records, date: one.date})})));
  }

  async function exportAll() {
    const mine = state;
    const lines = [];
    const left = [];
    for (const one of all()) {
      state = one;
      heard = null;
      listen();
      const {records} = await withPhotos();
      if (records) {
        lines.push(records);
      } else {
        left.push((one.answers[D.id] || {}).typed || say('unnamed'));
      }
    }
    state = mine;
    heard = null;
    listen();
    const name_ = `dryshaft-${today()}.jsonl`;
    if (lines.length) {
      download(lines.join(''), name_, 'application/jsonl');
    }
    el('exported').textContent = [say('exported', {count: lines.length, name: name_}),
      ...(left.length ? [say('leftOut', {units: left.join(', ')})] : [])].join(' ');
  }

  // ------------------------------------------------------------- start

  const ready = (async () => {
    core = await openCore(await unpacked(el('core').textContent));
    if (D.rules.length || D.families.length) {
      core.loaded({rules: D.rules, families: D.families});
    }
  })();

  function onward(clear) {
    const screen = showing();
    for (const q of clear ? screen : []) {
      delete state.answers[q.key];
    }
    if (!clear) {
      take(screen);
    }
    state.asked = [...new Set([...state.asked, ...screen.map((q) => q.key)])];
    changed();
    const wrong = screen.find((q) => applies(q) && problem(q));
    for (const q of screen) {
      showProblem(q);
    }
    if (wrong && !clear) {
      (el(name(wrong)) || el(`title-${wrong.key}`)).focus();
      return;
    }
    go(following());
  }

  function showProblem(q) {
    el(`problem-${q.key}`).textContent = applies(q) ? problem(q) : '';
    if (el(name(q))) {
      el(name(q)).setAttribute('aria-invalid', String(Boolean(applies(q) && problem(q))));
    }
  }

  function start() {
    document.body.append(make('datalist', {id: 'known-units'}));
    el('steps').hidden = !D.together;
    el('step').append(...SCREENS.map((screen, n) =>
      make('option', {value: String(n), textContent: D.parts[screen[0].part].title})));
    let unit = null;
    inStores((store) => {
      unit = unit || store.getItem(NOW);
    });
    const known = read(unit || (D.together ? '' : 'car'));
    if (known) {
      state = known;
    } else if (D.together) {
      state.at = HOME;
    }
    state.at = Math.max(HOME, Math.min(RESULT, state.at));
    kept = inStores((store) => {
      store.setItem(`${D.storage}-try`, '');
      store.removeItem(`${D.storage}-try`);
    });
    el('trouble').hidden = kept;
    el('dead').remove();
    el('page').hidden = false;
    try {
      history.replaceState({at: state.at, unit: state.unit, question: null}, '');
    } catch (refused) {
      // as in go
    }

    el('form').addEventListener('submit', async (event) => {
      event.preventDefault();
      await ready;
      onward(false);
    });
    el('skip').addEventListener('click', async () => {
      await ready;
      onward(true);
    });
    el('form').addEventListener('input', () => {
      takeShown();
      showHeard();
    });
    // What cannot be is said as soon as one is done with it.
    el('form').addEventListener('change', (event) => {
      takeShown();
      showHeard();
      const q = showing().find((one) => el(`question-${one.key}`).contains(event.target));
      if (q && given(q)) {
        showProblem(q);
      }
    });
    el('back').addEventListener('click', () => {
      takeShown();
      go(previous(), true);
    });
    el('now').addEventListener('click', () => {
      takeShown();
      go(RESULT);
    });
    el('step').addEventListener('change', () => {
      takeShown();
      go(Number(el('step').value));
    });
    el('last').addEventListener('click', () => go(previous()));
    window.addEventListener('popstate', (event) => {
      takeShown();
      const to = event.state || {at: HOME, unit: state.unit, question: null};
      if (to.unit !== state.unit) {
        state = read(to.unit) || state;
        heard = null;
        listen();
      }
      returnTo = byKey.get(to.question) || null;
      state.at = to.at;
      keep();
      show(true);
    });
    // The same unit in another tab: what is newest stands in both.
    window.addEventListener('storage', (event) => {
      const theirs = event.key === place(state.unit) && sound(event.newValue);
      if (theirs) {
        state = {...theirs, at: state.at};
        listen();
        show(false);
      } else if (state.at === LIST) {
        showList();
      }
    });
    window.addEventListener('beforeunload', (event) => {
      takeShown();
      if (!kept && state.begun) {
        event.preventDefault();
      }
    });
    window.addEventListener('beforeprint', () => {
      if (state.at !== LIST && heard) {
        showAnswers();
        el('all').open = true;
      }
    });

    el('save').addEventListener('click', () => {
      download(pages.saved, fileName(pages.id, 'html'), 'text/html');
      el('saved').textContent = say('saved', {name: fileName(pages.id, 'html')});
    });
    el('share').addEventListener('click', async () => {
      try {
        await navigator.share({files: [file()], title: document.title});
      } catch (refused) {
        el('saved').textContent = refused.name === 'AbortError' ? '' : say('notSent');
      }
    });
    el('print').addEventListener('click', () => window.print());
    el('copy').addEventListener('click', async () => {
      try {
        await navigator.clipboard.writeText(el('record').value);
        el('saved').textContent = say('copied');
      } catch (refused) {
        el('plain').open = true;
        el('record').select();
        el('saved').textContent = document.execCommand('copy') ? say('copied') : say('copyByHand');
      }
    });
    el('again').addEventListener('click', () => el('sure').showModal());
    el('stay').addEventListener('click', () => el('sure').close());
    el('wipe').addEventListener('click', () => {
      el('sure').close();
      forget(state.unit);
      state = fresh();
      heard = null;
      listen();
      go(HOME);
    });
    const another = () => {
      state = fresh();
      heard = null;
      listen();
      go(0);
    };
    el('another').hidden = !D.together;
    el('another').addEventListener('click', another);
    el('new').addEventListener('click', another);
    el('home').addEventListener('click', () => {
      takeShown();
      go(LIST);
    });
    el('export').addEventListener('click', exportAll);
    el('earlier').addEventListener('change', async () => {
      for (const one of el('earlier').files) {
        earlier.push({name: one.name, text: await one.text()});
      }
      el('earlier').value = '';
      await large.put('earlier', earlier);
      showEarlier();
    });
    el('forget-earlier').addEventListener('click', async () => {
      earlier = [];
      await large.remove('earlier');
      showEarlier();
    });
    ready.then(async () => {
      earlier = (D.together && await large.get('earlier')) || [];
      listen();
      if (state.at === LIST) {
        showList();
      } else if (showing().length) {
        showHeard();
      }
    }).catch(() => {
      el('broken').hidden = false;
    });
    show(state.begun && state.at !== HOME);
  }

  start();
})();
