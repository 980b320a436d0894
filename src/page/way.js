  // A form on a screen, question by question or step by step, and then its report.
  const asked = Q.filter((q) => !q.aside);
  // Questions that are shown together.
  const SCREENS = D.together ? [...new Set(asked.map((q) => q.part))].map((p) => asked.filter((q) => q.part === p))
    : asked.map((q) => [q]);
  const RESULT = SCREENS.length;
  const LIST = -1;
  const HOME = D.together ? LIST : 0;

  let pages = null;    // the report, as saved
  let earlier = [];    // texts of records from before
  let returnTo = null; // the question whose answer is being changed

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
      lists[lists.length - 1].append(make('li', {className: text ? '' : 'blank'}, line, change));
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

  const file = () => new File([pages.saved], fileName(pages.id, 'html'), {type: 'text/html'});

  function sendable() {
    try {
      return navigator.canShare({files: [file()]});
    } catch (none) {
      return false;
    }
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
    tryStores();
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
    copies();
    asksBeforeWiping(() => {
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
