  // What all pages share that are filled in. What they ask and say stands in the page's data; what
  // answers mean comes from the library that the page holds (core.js).
  const el = (id) => document.getElementById(id);
  if (typeof DecompressionStream !== 'function' || typeof WebAssembly !== 'object') {
    return;  // what stands in `dead` holds
  }
  const D = JSON.parse(el('data').textContent);
  const Q = D.questions;
  const byKey = new Map(Q.map((q) => [q.key, q]));
  let core = null;
  let state = fresh();
  let heard = null;    // what the library says of the answers
  let kept = true;

  function fresh() {
    return {unit: D.sheet ? 'sheet' : D.together ? drawn(10) : 'car', at: 0, answers: {}, photos: [], name: '',
            units: '', begun: 0, day: '', asked: [], done: false, made: null};
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
    for (const photo of state.photos) {
      large.remove(photo);
    }
  }

  function tryStores() {
    kept = inStores((store) => {
      store.setItem(`${D.storage}-try`, '');
      store.removeItem(`${D.storage}-try`);
    });
    el('trouble').hidden = kept;
  }

  function asksBeforeWiping(wipe) {
    el('again').addEventListener('click', () => el('sure').showModal());
    el('stay').addEventListener('click', () => el('sure').close());
    el('wipe').addEventListener('click', () => {
      el('sure').close();
      wipe();
    });
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

  // ------------------------------------------------------------- handing on

  const fileName = (id, end) => `dryshaft-${id.replace(/[^A-Za-z0-9]+/g, '-').replace(/^-|-$/g, '') || 'car'}.${end}`;

  function download(text, name_, type) {
    const url = URL.createObjectURL(new Blob([text], {type}));
    const link = make('a', {href: url, download: name_});
    document.body.append(link);
    link.click();
    link.remove();
    setTimeout(() => URL.revokeObjectURL(url), 60000);
  }

  function copies() {
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
  }

