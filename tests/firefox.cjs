// Fills a page in Firefox, which Chromium's driver does not reach: over WebDriver BiDi.
//
//     node firefox.cjs PUPPETEER < TASK
//
// PUPPETEER: the folder of the module puppeteer-core. TASK, JSON: `page`, a file; `downloads`, a folder;
// `answers` by question; `reload`, questions at which the page is loaded anew first; `begin` and `end`, buttons
// to press before the first question and after the last answer. Prints what came out, as JSON.
"use strict";
const fs = require("fs");
const path = require("path");
const puppeteer = require(path.resolve(process.argv[2]));

async function until(what, why) {
  const end = Date.now() + 20000;
  for (;;) {
    const found = await what();
    if (found) return found;
    if (Date.now() > end) throw new Error(why);
    await new Promise((next) => setTimeout(next, 20));
  }
}

async function fill(browser, task) {
  const page = await browser.newPage();
  const faults = [];
  page.on("pageerror", (error) => faults.push(String(error)));
  page.on("console", (said) => ["error", "warn"].includes(said.type()) && faults.push(said.text()));
  const open = () => page.goto("file://" + task.page);
  await open();
  const asked = () => page.$$eval("#questions fieldset", (all) => all
    .filter((f) => !f.hidden && f.checkVisibility()).map((f) => f.id.slice("question-".length)));
  const give = async (key, answer) => {
    const select = await page.$(`select#answer-${key}`);
    if (select) return select.select(answer);
    const words = [answer].flat();
    if (await page.$(`input[name="answer-${key}"]`)) {
      for (const word of words) await page.click(`input[name="answer-${key}"][value="${word}"]`);
      return undefined;
    }
    await page.type(`#answer-${key}`, words[0]);
    return words[1] ? page.select(`#unit-${key}`, words[1]) : undefined;
  };
  const shown = [];
  if (task.begin) await page.click("#" + task.begin);
  const left = () => Object.keys(task.answers).some((key) => !shown.includes(key));
  for (let keys = await asked(); keys.length && (left() || !task.end); keys = await asked()) {
    const first = keys[0];
    if (task.reload.includes(first)) {
      await open();
      await until(async () => (await asked())[0] === first, `a reload loses the question ${first}`);
    }
    // An answer may bring another question.
    let given = false;
    for (let key; (key = (await asked()).find((k) => !shown.includes(k)));) {
      shown.push(key);
      const answer = task.answers[key];
      if (answer !== undefined) await give(key, answer);
      given ||= answer !== undefined;
    }
    if (task.end && !left()) break;
    await page.click(given ? "#next" : "#skip");
    await until(async () => (await asked())[0] !== first, `the page stays at ${first}`);
  }
  if (task.end) await page.click("#" + task.end);
  await until(() => page.$("#report *"), "no report comes");
  const report = await page.$eval("#report", (e) => e.innerText);
  const record = await page.$eval("#record", (e) => e.value);
  await page.click("#save");
  const saved = await until(() => fs.readdirSync(task.downloads).find((name) => {
    const file = path.join(task.downloads, name);
    return name.endsWith(".html") && fs.statSync(file).size > 0 &&
      fs.readFileSync(file, "utf8").endsWith("</html>\n");
  }), "nothing is saved");
  return {shown, report, record, saved, faults, version: await browser.version()};
}

(async () => {
  const task = JSON.parse(fs.readFileSync(0, "utf8"));
  const browser = await puppeteer.launch({
    browser: "firefox", executablePath: "/usr/bin/firefox-esr", headless: true,
    extraPrefsFirefox: {"browser.download.folderList": 2, "browser.download.dir": task.downloads}});
  try {
    console.log(JSON.stringify(await fill(browser, task)));
  } finally {
    await browser.close();
  }
})().catch((error) => {
  console.error(error);
  process.exit(1);
});
