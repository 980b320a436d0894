  // A sheet that is read, written on, and printed: what is written becomes a record.
  const places = new Map();

  // Each question once, where the sheet asks for it first.
  function findPlaces() {
    for (const place of document.querySelectorAll('[data-field]')) {
      const q = Q.find((one) => one.pointer === place.dataset.field && one.work === Number(place.dataset.work || 0));
      if (!q || places.has(q)) {
        place.parentNode.remove();
        continue;
      }
      if (place.dataset.only) {
        q.choices = q.choices.filter((c) => c.word === place.dataset.only)
          .map((c) => ({...c, text: place.textContent.trim()}));
        q.kind = 'several';
      }
      places.set(q, place);
    }
  }

  function showPlaces() {
    for (const [q, place] of places) {
      const title = place.previousElementSibling;
      title.id = `title-${q.key}`;
      const wrong = make('p', {className: 'problem', id: `problem-${q.key}`});
      wrong.setAttribute('role', 'alert');
      const box = make('div', {}, q.choices.length ? choices(q) : typed(q), wrong);
      if (q.choices.length) {
        box.setAttribute('role', 'group');
        box.setAttribute('aria-labelledby', title.id);
      }
      place.replaceChildren(box);
    }
    showHeard();
  }

  function showHeard() {
    for (const [q, place] of places) {
      place.parentNode.classList.toggle('asleep', !applies(q));
    }
    const wrong = [...places.keys()].filter((q) => applies(q) && problem(q));
    fill(el('found'), (heard ? heard.found : []).map((f) => make('p', {textContent: f.text})));
    fill(el('wrong'), wrong.map((q) => make('li', {textContent: `${titleOf(q)}: ${problem(q)}`})));
    el('finished').hidden = !heard || !heard.records;
    el('unfinished').hidden = !el('finished').hidden || !state.begun;
    el('record').value = heard ? heard.records : '';
  }

  const titleOf = (q) => el(`title-${q.key}`).textContent;

  function written(event) {
    const before = JSON.stringify(state.answers);
    take([...places.keys()]);
    if (JSON.stringify(state.answers) !== before) {
      changed();
    }
    showHeard();
    const q = [...places.keys()].find((one) => places.get(one).contains(event.target));
    if (q && event.type === 'change') {
      showProblem(q);
    }
  }

  function begin() {
    const known = Object.fromEntries(D.known.map((one) => [one.key, one.answer]));
    state = read('sheet') || {...fresh(), answers: known};
    findPlaces();
    showPlaces();
    el('finished').hidden = true;
    el('page').hidden = false;
    tryStores();
    for (const kind of ['input', 'change']) {
      el('sheet').addEventListener(kind, written);
    }
    el('save').addEventListener('click', () => {
      const name_ = fileName(heard.questions.get(D.id).words[0], 'jsonl');
      download(heard.records, name_, 'application/jsonl');
      el('saved').textContent = say('saved', {name: name_});
    });
    el('print').addEventListener('click', () => window.print());
    copies();
    asksBeforeWiping(() => {
      forget('sheet');
      state = {...fresh(), answers: known};
      heard = null;
      listen();
      showPlaces();
    });
    ready.then(() => {
      listen();
      showHeard();
    }).catch(() => {
      el('broken').hidden = false;
    });
  }

  begin();
