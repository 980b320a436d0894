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
    // Answers are of the day on which they were given; a sheet may lie for long before it is used.
    if (!D.sheet && !given(byKey.get(D.date))) {
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

  // Of several of a kind, one more than are answered.
  const applies = (q) => (heard ? heard.questions.has(q.key) : !q.gated) &&
    (!q.after || D.sheet || given(q) || given(byKey.get(q.after)));
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
    const drawings = !D.sheet && q.choices.some((c) => 'column' in c);
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
    const box = make('div', {className: drawings ? 'choices drawn' : 'choices'});
    for (const c of list) {
      const input = make('input', {type: several ? 'checkbox' : 'radio', name: name(q), value: c.word,
                                   checked: Boolean(unknown(c) || (a && a.words && a.words.includes(c.word)))});
      const text = make('span', {textContent: c.text});
      box.append(make('label', {className: 'choice'}, input, ...(drawings && 'column' in c ? [drawing(q, c.column)] : []), text));
    }
    return box;
  }

  function typed(q) {
    const a = answer(q) || {typed: q.key === D.date && !D.sheet ? state.day || today() : '', unit: ''};
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
    const label = make('label', {htmlFor: input.id, textContent: say('answer') + (q.unit ? ` (${q.unit})` : '')});
    if (D.sheet) {
      label.textContent = `${el(`title-${q.key}`).textContent}${q.unit ? ` (${q.unit})` : ''}`;
      label.className = 'offscreen';
    }
    const box = make('div', {className: 'typed'}, make('div', {}, label, input,
      ...(D.sheet && q.unit ? [make('span', {textContent: ` ${q.unit}`})] : [])));
    if (q.distance) {
      const select = make('select', {id: `unit-${q.key}`}, make('option', {value: '', textContent: say('unit')}));
      select.append(...D.units.map((u) => make('option', {value: u.word, textContent: u.text})));
      select.value = a.unit || state.units;
      box.append(make('div', {}, make('label', {htmlFor: select.id, textContent: say('unitLabel'),
                                                        className: D.sheet ? 'offscreen' : ''}), select));
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
      const kept = await Promise.all(state.photos.map((key) => large.get(key)));
      let room = D.room - kept.join('').length;
      let problem = '';
      for (const file of input.files) {
        const text = await small(file);
        if (kept.includes(text)) {
          continue;  // it is there already
        }
        if (!text || text.length > room || kept.length >= D.photos) {
          problem = say(text ? 'photosFull' : 'noPicture', {name: file.name});
          break;
        }
        room -= text.length;
        kept.push(text);
        const key = `photo-${drawn(10)}`;
        await large.put(key, text);
        state.photos.push(key);
      }
      changed();
      showScreen();
      el(`problem-${q.key}`).textContent = problem;
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
        if (q.key !== D.date || D.sheet || answer(q) || typed !== (state.day || today())) {
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

  function showProblem(q) {
    el(`problem-${q.key}`).textContent = applies(q) ? problem(q) : '';
    if (el(name(q))) {
      el(name(q)).setAttribute('aria-invalid', String(Boolean(applies(q) && problem(q))));
    }
  }

  const ready = (async () => {
    core = await openCore(await unpacked(el('core').textContent));
    if (D.rules.length || D.families.length) {
      core.loaded({rules: D.rules, families: D.families});
    }
  })();

