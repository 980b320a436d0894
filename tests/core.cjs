// Answers requests by the library as a page has it, a line each: first the module in base64, then
// {"graded": request} or {"answered": request}. Beside each answer it says how long that took.
'use strict';
const fs = require('fs');
const vm = require('vm');

vm.runInThisContext(fs.readFileSync('src/page/core.js', 'utf8'));
const [base64, ...requests] = fs.readFileSync(0, 'utf8').trimEnd().split('\n');
(async () => {
  const begun = performance.now();
  const core = await openCore(await unpacked(base64));
  console.log(JSON.stringify({ms: performance.now() - begun}));
  for (const line of requests) {
    const [[what, request]] = Object.entries(JSON.parse(line));
    const asked = performance.now();
    const answer = core[what](request);
    console.log(JSON.stringify({ms: performance.now() - asked, answer}));
  }
})();
