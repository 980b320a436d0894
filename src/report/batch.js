"use strict";
(() => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const list = document.getElementById("list");
  const view = document.getElementById("report");
  const table = document.getElementById("units");
  if (!table) return;
  const body = table.tBodies[0];
  const heads = [...table.tHead.rows[0].cells];
  const rows = [...body.rows].map((row, i) => ({
    row,
    id: `unit-${i + 1}`,
    texts: [...row.cells].map((cell) => cell.textContent.replaceAll("\u00a0", " ")),
  }));
  const make = (tag, properties = {}, ...inside) => {
    const element = Object.assign(document.createElement(tag), properties);
    element.append(...inside);
    return element;
  };

  // What a cell is sorted by. What is not known ("-") comes last either way.
  const keys = heads.map((head, c) => {
    const words = head.dataset.order ? head.dataset.order.split(" ") : null;
    return rows.map(({texts}) => {
      const text = texts[c];
      if (text === "-" || text === "") return null;
      if (words) {
        const at = words.indexOf(text.split(" ")[0]);
        return at < 0 ? null : at;
      }
      const number = /^([<>]?)\s*([\d,]*\.?\d+)/.exec(text);
      if (!number) return text;
      return Number(number[2].replaceAll(",", "")) + {"<": -0.5, ">": 0.5, "": 0}[number[1]];
    });
  });
  rows.forEach((r, i) => { r.at = i; });
  const inWords = new Intl.Collator("en", {numeric: true});
  const compare = (a, b) =>
    typeof a === "number" && typeof b === "number" ? a - b : inWords.compare(a, b);

  let order = rows.slice();
  const sort = (column) => {
    const head = heads[column];
    const down = head.getAttribute("aria-sort") === "ascending";
    heads.forEach((h) => h.removeAttribute("aria-sort"));
    head.setAttribute("aria-sort", down ? "descending" : "ascending");
    const key = keys[column];
    order = rows.slice().sort((a, b) => {
      const x = key[a.at];
      const y = key[b.at];
      if (x === null || y === null) return (x === null) - (y === null) || a.at - b.at;
      return (down ? compare(y, x) : compare(x, y)) || a.at - b.at;
    });
    body.append(...order.map((r) => r.row));
  };
  heads.forEach((head, c) => {
    const button = make("button", {type: "button", textContent: head.textContent});
    button.addEventListener("click", () => sort(c));
    head.replaceChildren(button);
  });

  const shown = make("output");
  const search = make("input", {type: "search"});
  const tools = make("div", {className: "tools screen"},
    make("label", {}, "Find", search));
  const choices = heads.flatMap((head, c) => {
    if (!("choose" in head.dataset)) return [];
    const select = make("select");
    select.add(new Option("all", ""));
    const seen = [...new Set(rows.map((r) => r.texts[c].split(" ")[0]))];
    const words = head.dataset.order ? head.dataset.order.split(" ") : seen.slice().sort();
    words.filter((w) => seen.includes(w)).forEach((w) => select.add(new Option(w, w)));
    tools.append(make("label", {}, head.textContent, select));
    return [{select, c}];
  });
  tools.append(shown);
  const filter = () => {
    const wanted = search.value.trim().toLowerCase();
    let count = 0;
    for (const r of rows) {
      const fits = (wanted === "" || r.texts.some((t) => t.toLowerCase().includes(wanted))) &&
        choices.every(({select, c}) =>
          select.value === "" || r.texts[c].split(" ")[0] === select.value);
      r.row.hidden = !fits;
      count += fits ? 1 : 0;
    }
    shown.textContent = `${count} of ${rows.length} units`;
  };
  tools.addEventListener("input", filter);
  tools.addEventListener("change", filter);
  filter();
  table.parentElement.before(tools);

  const title = document.title;
  let last = null;
  const link = (r, text) => make("a", {href: `#${r.id}`, textContent: text});
  const show = () => {
    const found = rows.find((r) => `#${r.id}` === location.hash);
    list.hidden = Boolean(found);
    view.hidden = !found;
    if (!found) {
      document.title = title;
      view.replaceChildren();
      if (last) last.row.querySelector("a").focus();
      return;
    }
    const visible = order.filter((r) => !r.row.hidden || r === found);
    const at = visible.indexOf(found);
    const ways = make("nav", {className: "ways screen", ariaLabel: "Reports"},
      make("a", {href: "#", textContent: "Back to the list"}));
    if (at > 0) ways.append(link(visible[at - 1], `Before: ${visible[at - 1].texts[1]}`));
    if (at + 1 < visible.length) {
      ways.append(link(visible[at + 1], `Next: ${visible[at + 1].texts[1]}`));
    }
    // The parts were made safe where they were made.
    view.innerHTML = data.reports[found.at].map((p) => data.parts[p]).join("");
    view.prepend(ways);
    const heading = view.querySelector("h1");
    heading.tabIndex = -1;
    heading.focus({preventScroll: true});
    scrollTo(0, 0);
    document.title = `${found.texts[1]} - ${title}`;
    last = found;
  };
  addEventListener("hashchange", show);
  show();
})();
