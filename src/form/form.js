(() => {
  'use strict';
  // Questions, words and pointers all come from the program; this file knows none of them.
  const D = JSON.parse(document.getElementById('data').textContent);
  const Q = D.questions;
  const el = (id) => document.getElementById(id);
  const INTRO = -1;
  const SUMMARY = Q.length;

  let state = {answers: {}, at: INTRO, unit: ''};
  let asked = [];       // the way here, for Back
  let returning = null; // while an answer is being changed: which, and what has been asked
  let keeps = true;

  // ------------------------------------------------------------- storage

  // What is kept for the next visit is also kept for this tab: a browser may lose sight of the first
  // over a reload (Chromium 156 does for files).
  function load() {
    try {
      const kept = JSON.parse(
        sessionStorage.getItem(D.storage) || localStorage.getItem(D.storage) || 'null');
      if (kept && typeof kept.answers === 'object' && Number.isInteger(kept.at)) {
        state = {answers: {}, at: Math.max(INTRO, Math.min(SUMMARY, kept.at)),
                 unit: D.units.some((u) => u.word === kept.unit) ? kept.unit : '',
                 draft: kept.draft && typeof kept.draft.text === 'string' ? kept.draft : null};
        asked = Array.isArray(kept.asked) ? kept.asked.filter((i) => Q[i]) : [];
        returning = kept.returning && Array.isArray(kept.returning.asked) ? kept.returning : null;
        for (const q of Q) {
          const a = kept.answers[q.key];
          if (a && Array.isArray(a.words) && a.words.every((w) => typeof w === 'string')) {
            state.answers[q.key] = {words: a.words, unit: a.unit === 'mi' ? 'mi' : 'km'};
          }
        }
      }
    } catch (refused) {
      keeps = false;
    }
    el('trouble').hidden = keeps;
  }

  function keep() {
    try {
      const text = JSON.stringify({...state, asked, returning});
      sessionStorage.setItem(D.storage, text);
      localStorage.setItem(D.storage, text);
    } catch (refused) {
      keeps = false;
    }
    el('trouble').hidden = keeps;
  }

  function forget() {
    state = {answers: {}, at: INTRO, unit: ''};
    asked = [];
    returning = null;
    try {
      sessionStorage.removeItem(D.storage);
      localStorage.removeItem(D.storage);
    } catch (refused) {
      keeps = false;
    }
  }

  // ------------------------------------------------------------- answers

  const words = (q) => (state.answers[q.key] || {words: []}).words;

  function applies(q) {
    return !q.gateWords.length ||
      (applies(Q[q.gate]) && words(Q[q.gate]).some((w) => q.gateWords.includes(w)));
  }

  const given = (q) => words(q).length > 0 && applies(q);
  const find = (pointer, check) => Q.find((q) => q.pointer === pointer && q.check === check && given(q));

  function shown(q) {
    const list = words(q).map((w) => {
      const c = q.choices.find((one) => one.word === w);
      return c ? c.text : w;
    });
    if (!list.length) {
      return '';
    }
    const unit = q.miles ? ' ' + D.units.find((u) => u.word === state.answers[q.key].unit).text
      : q.kind === 'number' ? ' ' + q.unit : '';
    return list.join('; ') + unit;
  }

  // As the program reads numbers: "109000", "109,000", "109 000.5", "182.400".
  function number(text) {
    const bare = text.trim().replace(/[\u00a0\u202f]/g, ' ');
    let match = /^(-?)([1-9]\d{0,2})(?:([., '])(\d{3}))(?:\3\d{3})*(?:([.,])(\d+))?$/.exec(bare);
    if (match && (!match[5] || match[5] !== match[3])) {
      const whole = match[5] ? bare.slice(0, bare.lastIndexOf(match[5])) : bare;
      return whole.replace(/[., ']/g, '') + (match[5] ? '.' + match[6] : '');
    }
    match = /^-?\d+(?:[.,]\d+)?$/.exec(bare);
    return match ? bare.replace(',', '.') : null;
  }

  function wellFormed(text) {
    return text.replace(/[\ud800-\udbff][\udc00-\udfff]|[\ud800-\udfff]/g,
      (c) => (c.length === 2 ? c : '\ufffd'));
  }

  function isDate(text) {
    const m = /^(\d{4})-(\d\d)-(\d\d)$/.exec(text);
    if (!m || m[1] === '0000') {
      return false;
    }
    const d = new Date(0);
    d.setUTCFullYear(+m[1], +m[2] - 1, +m[3]);
    return d.getUTCMonth() === +m[2] - 1 && d.getUTCDate() === +m[3];
  }

  // Of two days, or of two readings of one odometer: more than 0 where the first lies after the second.
  function compared(q, other) {
    const [a, b] = [words(q)[0], words(other)[0]];
    if (q.kind === 'number') {
      const km = (one, text) => Number(text) * (state.answers[one.key].unit === 'mi' ? D.kmPerMile : 1);
      return km(q, a) - km(other, b);
    }
    const both = Math.min(a.length, b.length);
    return a.slice(0, both) > b.slice(0, both) ? 1 : a.slice(0, both) < b.slice(0, both) ? -1 : 0;
  }

  // What does not go together with another answer, in words; empty: nothing.
  function outOfOrder(q) {
    const sound = (other) => given(other) && !malformed(other);
    const limit = q.notAfter.map((i) => Q[i]).find((other) => sound(other) && compared(q, other) > 0);
    const other = limit ||
      Q.find((one) => one.notAfter.includes(Q.indexOf(q)) && sound(one) && compared(one, q) > 0);
    return !other ? '' : (limit ? D.says.after : D.says.before)
      .replace('{question}', () => other.text).replace('{answer}', () => shown(other));
  }

  const limitsOf = (q, unit) => (q.miles && unit === 'mi' ? q.milesLimits : q.limits);

  // What is wrong with an answer by itself, in words; empty: nothing.
  function malformed(q) {
    const w = words(q);
    if (!w.length) {
      return q.required ? D.says.required : '';
    }
    const future = () => (w[0] > today().slice(0, w[0].length) ? D.says.future : '');
    if (q.kind === 'date') {
      return isDate(w[0]) ? future() : D.says.date;
    }
    if (q.kind === 'month') {
      return /^(?!0000)\d{4}(-(0[1-9]|1[0-2]))?$/.test(w[0]) ? future() : D.says.month;
    }
    if (q.kind === 'number') {
      const value = Number(w[0]);
      const limits = limitsOf(q, state.answers[q.key].unit);
      return !Number.isFinite(value) || value < limits.min || value > limits.max ? limits.range : '';
    }
    return '';
  }

  const wrong = (q) => malformed(q) || (words(q).length ? outOfOrder(q) : '');

  // What the answers call for before any further driving: by the combinations in the page's data.
  function stops() {
    const wordsOf = (q) => (!given(q) ? [''] : q.kind !== 'number' ? words(q)
      : [Number(words(q)[0]) > q.limits.min ? D.more : D.least]);
    const holds = (need) => wordsOf(Q[need.question]).some((w) => need.words.includes(w));
    for (const group of D.stops) {
      const texts = group.filter((stop) => stop.needs.every(holds)).map((stop) => stop.text);
      if (texts.length) {
        return [...new Set(texts)];
      }
    }
    return [];
  }

  // The same without one of the answers.
  function stopsWithout(q) {
    const answer = state.answers[q.key];
    delete state.answers[q.key];
    const texts = stops();
    if (answer) {
      state.answers[q.key] = answer;
    }
    return texts;
  }

  // ------------------------------------------------------------- records

  function put(record, q) {
    const a = state.answers[q.key];
    if (!q.choices.length) {
      const miles = q.miles && a.unit === 'mi';
      record.set(miles ? q.miles : q.pointer, q.kind === 'number' ? Number(a.words[0]) : a.words[0]);
      return;
    }
    for (const c of q.choices) {
      if (a.words.includes(c.word)) {
        for (const [pointer, value] of Object.entries(c.writes)) {
          record.set(pointer, q.kind === 'several' ? [...(record.get(pointer) || []), value] : value);
        }
      }
    }
  }

  // Members in the order of the record format.
  function nested(record) {
    const out = {};
    for (const pointer of D.order) {
      if (record.has(pointer)) {
        const keys = pointer.slice(1).split('/');
        let at = out;
        for (const key of keys.slice(0, -1)) {
          at = at[key] = at[key] || {};
        }
        at[keys[keys.length - 1]] = record.get(pointer);
      }
    }
    return out;
  }

  // The same rules as the program's: see the description of the form there.
  function records() {
    const R = D.roles;
    const looked = find(R.checked, false);
    const wasLooked = Boolean(looked) && words(looked)[0] === R.yes;
    const day = wasLooked && find(R.date, true);
    const today = find(R.date, false);
    const apart = Boolean(day && today && words(day)[0] !== words(today)[0]);
    const atPort = (q) => q.pointer.startsWith(R.port);
    const out = [];
    if (apart) {
      const check = new Map([[R.format, R.formatWord]]);
      for (const q of Q) {
        if (given(q) && (q.check || atPort(q) || (q.pointer.startsWith(R.unit) && q.kind !== 'number'))) {
          put(check, q);
        }
      }
      out.push(nested(check));
    }
    const now = new Map([[R.format, R.formatWord], [R.by, R.byWord]]);
    for (const q of Q) {
      if (given(q) && !q.check && !(apart && atPort(q))) {
        put(now, q);
      }
    }
    if (apart) {
      now.set(R.checked, false);
    } else if (day) {
      const by = find(R.by, true);
      const odometer = find(R.odometer, true);
      if (by) {
        put(now, by);
      }
      if (odometer && !find(R.odometer, false)) {
        put(now, odometer);
      }
    } else if (wasLooked) {
      now.delete(R.checked);
    }
    out.push(nested(now));
    return out;
  }

  function recordText() {
    const all = records();
    return JSON.stringify(all.length === 1 ? all[0] : all, null, 2) + '\n';
  }

  // ------------------------------------------------------------- showing

  function make(name, properties, ...children) {
    const node = Object.assign(document.createElement(name), properties);
    node.append(...children);
    return node;
  }

  function today() {
    const d = new Date();
    const two = (n) => String(n).padStart(2, '0');
    return `${d.getFullYear()}-${two(d.getMonth() + 1)}-${two(d.getDate())}`;
  }

  function choices(q) {
    const list = make('div', {className: 'choices'});
    const several = q.kind === 'several';
    const none = several ? [] : [D.unknown];
    for (const c of [...q.choices, ...none]) {
      const input = make('input', {
        type: several ? 'checkbox' : 'radio', name: 'answer', value: c.word,
        checked: words(q).includes(c.word) ||
          (c === D.unknown && q.key in state.answers && !words(q).length)});
      list.append(make('label', {className: 'choice'}, input, make('span', {textContent: c.text})));
    }
    return list;
  }

  function typed(q) {
    const box = make('div', {className: 'typed'});
    const first = q.kind === 'date' && !q.check ? today() : '';
    const draft = state.draft && state.draft.key === q.key ? state.draft : null;
    const value = draft ? draft.text : words(q).length ? words(q)[0] : q.required ? first : '';
    const input = make(q.kind === 'long' ? 'textarea' : 'input', {id: 'answer', value});
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
    if (q.sample && q.kind !== 'date') {
      input.placeholder = q.sample;
    }
    input.setAttribute('aria-describedby', 'help problem');
    box.append(make('div', {}, make('label', {htmlFor: 'answer', textContent: D.says.answer +
      (q.kind === 'number' && !q.miles ? ` (${q.unit})` : '')}), input));
    if (q.miles) {
      const select = make('select', {id: 'unit'});
      select.append(make('option', {value: '', textContent: D.says.unit}));
      for (const u of D.units) {
        select.append(make('option', {value: u.word, textContent: u.text}));
      }
      select.value = draft ? draft.unit : words(q).length ? state.answers[q.key].unit : state.unit;
      box.append(make('div', {}, make('label', {htmlFor: 'unit', textContent: D.says.unitLabel}), select));
    }
    return box;
  }

  // What to do at once: what the other answers call for above the question, what this one adds below
  // it. What stands there already stays, so that it is not read out twice.
  function showStops(q) {
    const now = stops();
    const before = stopsWithout(q).filter((text) => now.includes(text));
    fill(el('stop'), before);
    fill(el('warning'), now.filter((text) => !before.includes(text)));
  }

  function fill(box, texts) {
    if ([...box.children].map((p) => p.textContent).join('\n') !== texts.join('\n')) {
      box.replaceChildren(...texts.map((text) => make('p', {className: 'warning', textContent: text})));
    }
  }

  function putAwayPicture() {
    for (const picture of [...el('picture').children]) {
      el('pictures').append(picture);
    }
    el('picture').hidden = true;
  }

  function showQuestion(i) {
    const q = Q[i];
    const part = D.parts[q.part];
    const applying = Q.filter(applies);
    const place = applying.indexOf(q) + 1;
    el('place').textContent = `${D.says.question} ${place} ${D.says.of} ${applying.length}`;
    el('progress').max = applying.length;
    el('progress').value = place - 1;
    el('part').textContent = part.title;
    const first = Q.find((one) => one.part === q.part && applies(one)) === q;
    el('part-intro').textContent = first ? part.intro : '';
    el('question').textContent = q.text;
    el('help').textContent = q.pointer === D.roles.id ? `${q.help} ${D.says.drawn}` : q.help;
    el('problem').textContent = '';
    showStops(q);
    putAwayPicture();
    const picture = q.picture && el('picture-' + q.picture);
    if (picture) {
      el('picture').append(picture);
      el('picture').hidden = false;
    }
    el('inputs').replaceChildren(q.choices.length ? choices(q) : typed(q));
    el('skip').hidden = q.required;
    el('back').hidden = Boolean(returning);
    showNext();
  }

  const showNext = () => {
    el('next').textContent = returning && following() === SUMMARY ? D.says.done : D.says.next;
  };

  function showSummary() {
    const lists = [];
    let part = -1;
    const problems = [];
    for (const q of Q.filter(applies)) {
      if (q.part !== part) {
        part = q.part;
        lists.push(make('h3', {textContent: D.parts[part].title}), make('ul', {className: 'answers'}));
      }
      const problem = wrong(q);
      const answer = shown(q);
      const change = make('button', {type: 'button', className: 'screen', textContent: D.says.change});
      change.setAttribute('aria-label', `${D.says.change}: ${q.text}`);
      change.addEventListener('click', () => {
        returning = {from: Q.indexOf(q), asked: Q.map((one, i) => i).filter((i) => applies(Q[i]))};
        go(Q.indexOf(q));
      });
      const text = make('div', {}, make('span', {textContent: q.text}),
        make('strong', {textContent: answer || D.says.none, className: answer ? '' : 'quiet'}));
      if (problem) {
        problems.push(q.text);
        text.append(make('span', {className: 'problem', textContent: problem}));
      }
      lists[lists.length - 1].append(make('li', {}, text, change));
    }
    el('answers').replaceChildren(...lists);
    fill(el('warnings'), stops());
    el('unfinished').hidden = !problems.length;
    el('finished').hidden = problems.length > 0;
    el('record').value = problems.length ? '' : recordText();
    el('saved').textContent = '';
  }

  // Shows where `state.at` says; the new heading gets the focus, so that it is read out.
  function show(focus) {
    el('intro').hidden = state.at !== INTRO;
    el('ask').hidden = state.at === INTRO || state.at === SUMMARY;
    el('summary').hidden = state.at !== SUMMARY;
    el('again').hidden = state.at === INTRO;
    if (state.at === SUMMARY) {
      showSummary();
    } else if (state.at !== INTRO) {
      showQuestion(state.at);
    }
    if (focus) {
      scrollTo(0, 0);
      el(state.at === INTRO ? 'title' : state.at === SUMMARY ? 'end' : 'question').focus();
    }
  }

  function go(at) {
    state.at = at;
    state.draft = null;
    keep();
    show(true);
  }

  // The question to ask next; after a change only those that apply since.
  function following() {
    const next = Q.findIndex((q, n) => n > state.at && applies(q) && !(returning && returning.asked.includes(n)));
    return next < 0 ? SUMMARY : next;
  }

  function onward() {
    const next = following();
    if (!returning) {
      asked.push(state.at);
    } else if (next === SUMMARY) {
      returning = null;
    } else {
      returning.asked.push(next);
    }
    go(next);
  }

  // ------------------------------------------------------------- reading

  // A name that no other car has: fifty bits by chance, without signs that look alike.
  function drawn() {
    const signs = '23456789abcdefghijkmnpqrstuvwxyz';
    const [...name] = crypto.getRandomValues(new Uint8Array(10));
    return 'car-' + name.map((n, i) => (i === 5 ? '-' : '') + signs[n % signs.length]).join('');
  }

  // Takes what stands in the page; a text when it cannot be taken.
  function take() {
    const q = Q[state.at];
    const before = state.answers[q.key];
    const answer = {words: [], unit: state.unit || 'km'};
    if (q.choices.length) {
      const marked = [...document.getElementsByName('answer')].filter((i) => i.checked).map((i) => i.value);
      answer.words = marked.filter((w) => w !== D.unknown.word);
      if (!marked.length && q.kind !== 'several') {
        delete state.answers[q.key];
        return '';
      }
    } else {
      const text = wellFormed(el('answer').value.replace(/\r\n?/g, '\n').trim());
      const digits = q.kind === 'number' && text ? number(text) : text;
      if (digits === null) {
        return limitsOf(q, q.miles ? el('unit').value : '').range;
      }
      answer.words = digits ? [digits] : [];
      if (q.kind === 'date' && el('answer').validity.badInput) {
        return D.says.date;
      }
      if (q.miles && digits) {
        if (!el('unit').value) {
          return D.says.unitMissing;
        }
        answer.unit = el('unit').value;
        state.unit = answer.unit;
      }
    }
    state.answers[q.key] = answer;
    // Where two answers do not go together and one is changed, the other may be next: the summary
    // names both.
    const problem = returning && returning.from === state.at ? malformed(q) : wrong(q);
    if (problem) {
      if (before) {
        state.answers[q.key] = before;
      } else {
        delete state.answers[q.key];
      }
    }
    return problem;
  }

  // What stands in the page without Next is kept too: a reload loses nothing.
  function keepDraft() {
    const q = Q[state.at];
    if (!q) {
      return;
    }
    state.draft = q.choices.length ? null
      : {key: q.key, text: el('answer').value, unit: q.miles ? el('unit').value : ''};
    take();
    showStops(q);
    showNext();
    keep();
  }

  function start() {
    load();
    el('start').addEventListener('click', () => go(Q.findIndex(applies)));
    el('form').addEventListener('submit', (event) => {
      event.preventDefault();
      const q = Q[state.at];
      if (q.pointer === D.roles.id && !el('answer').value.trim()) {
        el('answer').value = drawn();
      }
      const problem = take();
      el('problem').textContent = problem;
      const input = el('answer');
      if (input) {
        input.setAttribute('aria-invalid', String(Boolean(problem)));
      }
      if (problem) {
        (problem === D.says.unitMissing ? el('unit') : input || el('question')).focus();
      } else {
        onward();
      }
    });
    el('form').addEventListener('change', keepDraft);
    el('form').addEventListener('input', keepDraft);
    el('skip').addEventListener('click', () => {
      state.answers[Q[state.at].key] = {words: [], unit: state.unit || 'km'};
      onward();
    });
    el('back').addEventListener('click', () => {
      keepDraft();
      go(asked.length ? asked.pop() : INTRO);
    });
    el('last').addEventListener('click', () => go(asked.length ? asked.pop() : INTRO));
    el('save').addEventListener('click', () => {
      const name = words(Q.find((q) => q.pointer === D.roles.id))[0] || '';
      const file = 'dryshaft-' + (name.replace(/[^A-Za-z0-9]+/g, '-').replace(/^-|-$/g, '') || 'car') + '.json';
      const url = URL.createObjectURL(new Blob([el('record').value], {type: 'application/json'}));
      const link = make('a', {href: url, download: file});
      document.body.append(link);
      link.click();
      link.remove();
      setTimeout(() => URL.revokeObjectURL(url), 60000);
      el('saved').textContent = D.says.saved.replace('{name}', () => file);
    });
    el('copy').addEventListener('click', async () => {
      try {
        await navigator.clipboard.writeText(el('record').value);
        el('saved').textContent = D.says.copied;
      } catch (refused) {
        el('record').select();
        el('saved').textContent = document.execCommand('copy') ? D.says.copied : D.says.copyByHand;
      }
    });
    el('again').addEventListener('click', () => el('sure').showModal());
    el('stay').addEventListener('click', () => el('sure').close());
    el('wipe').addEventListener('click', () => {
      el('sure').close();
      forget();
      show(true);
    });
    el('page').hidden = false;
    show(state.at !== INTRO);
  }

  start();
})();
