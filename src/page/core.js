'use strict';
// Opens the library in a page, or under node: no file, no network, no clock.
//
//     const core = await openCore(wasm);      // bytes of the module
//     core.graded({records: text, format: 'html', for: 'owner'})   // see src/page/page.hpp
//     core.answered({form: 'owner', today: '2026-03-18', answers: {}})
//
// `unpacked` makes these bytes from what the program puts into a page.
async function unpacked(base64) {
  const packed = Uint8Array.from(atob(base64), (c) => c.charCodeAt(0));
  const stream = new Blob([packed]).stream().pipeThrough(new DecompressionStream('gzip'));
  return new Response(stream).arrayBuffer();
}

async function openCore(wasm) {
  // What the C library would ask of a system: there is none here.
  const kNoSystem = 52;
  const imports = {wasi_snapshot_preview1: new Proxy({}, {get: () => () => kNoSystem})};
  const {instance} = await WebAssembly.instantiate(wasm, imports);
  const library = instance.exports;
  library._initialize();
  const ask = (what, request) => {
    const bytes = new TextEncoder().encode(JSON.stringify(request));
    const room = library.dryshaft_room(bytes.length);
    new Uint8Array(library.memory.buffer, room, bytes.length).set(bytes);
    const at = library[what]();
    const text = new TextDecoder().decode(
      new Uint8Array(library.memory.buffer, at, library.dryshaft_answered()));
    const answer = JSON.parse(text);
    if ('bug' in answer) {
      throw new Error(answer.bug);
    }
    return answer;
  };
  return {
    loaded: (request) => ask('dryshaft_loaded', request),
    graded: (request) => ask('dryshaft_graded', request),
    answered: (request) => ask('dryshaft_form', request),
  };
}
