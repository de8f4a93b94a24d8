// The table of packs: shows some rows at a time, sorts and searches them. Without it the page shows its first rows and
// links to pages with the others.
(() => {
  "use strict";
  const byId = (id) => document.getElementById(id);
  const { heads, rows } = JSON.parse(byId("rows").textContent);
  const table = byId("table");
  const body = table.tBodies[0];
  const controls = byId("controls");
  const search = byId("search");
  const choice = byId("sort");
  const turn = byId("turn");
  const count = byId("count");
  const pager = byId("pager");
  const PAGE = window.matchMedia("(max-width: 30rem)").matches ? 20 : 50;
  const collator = new Intl.Collator(undefined, { numeric: true, sensitivity: "base" });
  const numerals = new Intl.NumberFormat("en-GB", { useGrouping: false });

  const words = (cell) => {
    if (cell === null) return "–";
    if (Array.isArray(cell)) return cell[1];
    return String(cell).replace(/^-(?=[\d])/, typeof cell === "number" ? "−" : "-");
  };
  const value = (cell) => (Array.isArray(cell) ? cell[0] : cell);
  const fold = (text) => text.normalize("NFKD").replace(/\p{M}/gu, "").toLowerCase();

  let haystacks = null;
  let matching = rows.map((_, index) => index);
  let shown = 0;
  // The rows come sorted as the plain pages are: by nothing that has a single column.
  let column = -1;
  let down = false;

  const compare = (a, b) => {
    if (column < 0) return a - b;
    const [left, right] = [value(rows[a][column + 1]), value(rows[b][column + 1])];
    // What is not known stands last, whichever way the others go.
    if (left === null || right === null) return (left === null) - (right === null) || a - b;
    const order = heads[column][1] ? left - right : collator.compare(left, right);
    return (down ? -order : order) || a - b;
  };

  const select = () => {
    const wanted = fold(search.value).split(/\s+/).filter(Boolean);
    if (wanted.length > 0 && haystacks === null) {
      haystacks = rows.map((row) => fold(row.slice(1).map(words).join("\n")));
    }
    matching = [];
    for (let index = 0; index < rows.length; index += 1) {
      if (wanted.every((word) => haystacks[index].includes(word))) matching.push(index);
    }
    matching.sort(compare);
    shown = 0;
    show();
  };

  const show = () => {
    const some = matching.slice(shown, shown + PAGE);
    body.replaceChildren(...some.map(line));
    const last = shown + some.length;
    const of = search.value.trim() === "" ? "packs" : `of ${numerals.format(rows.length)} packs match`;
    const range = some.length === 0 ? "" : `; rows ${shown + 1} to ${last} are shown`;
    count.textContent = `${numerals.format(matching.length)} ${of}${range}`;
    back.disabled = shown === 0;
    on.disabled = last >= matching.length;
    pager.hidden = matching.length <= PAGE;
  };

  const line = (index) => {
    const row = rows[index];
    const tr = document.createElement("tr");
    heads.forEach(([label, isNumber], place) => {
      const cell = row[place + 1];
      const td = document.createElement(place === 0 ? "th" : "td");
      if (place === 0) {
        td.scope = "row";
        const a = document.createElement("a");
        a.href = `packs/${row[0]}.html`;
        a.textContent = words(cell);
        td.append(a);
      } else {
        td.dataset.head = label.replace(/\?$/, "");
        td.textContent = words(cell);
        if (isNumber) td.classList.add("n");
        if (cell === null) td.classList.add("none");
      }
      tr.append(td);
    });
    return tr;
  };

  const sortBy = (place, turned) => {
    column = place;
    down = turned;
    [...table.tHead.rows[0].cells].forEach((th, index) => {
      if (index === column) th.setAttribute("aria-sort", down ? "descending" : "ascending");
      else th.removeAttribute("aria-sort");
    });
    choice.value = String(column);
    turn.textContent = down ? "descending" : "ascending";
    turn.disabled = column < 0;
    select();
  };

  const option = (text, place) => {
    const one = document.createElement("option");
    one.textContent = text;
    one.value = String(place);
    return one;
  };
  choice.append(option("order of the pages", -1));
  [...table.tHead.rows[0].cells].forEach((th, place) => {
    const label = heads[place][0];
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = label;
    button.addEventListener("click", () => sortBy(place, place === column ? !down : false));
    th.replaceChildren(button);
    choice.append(option(label, place));
  });
  choice.addEventListener("change", () => sortBy(Number(choice.value), false));
  turn.addEventListener("click", () => sortBy(column, !down));

  let waiting = 0;
  search.addEventListener("input", () => {
    window.clearTimeout(waiting);
    waiting = window.setTimeout(select, 120);
  });

  const step = (text, by) => {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = text;
    button.addEventListener("click", () => {
      shown = Math.max(0, shown + by);
      show();
      table.scrollIntoView({ block: "start" });
    });
    return button;
  };
  const back = step("previous rows", -PAGE);
  const on = step("next rows", PAGE);
  const nav = document.createElement("nav");
  nav.className = "pager";
  nav.setAttribute("aria-label", "Rows of the table");
  nav.append(back, on);
  pager.replaceChildren(nav);
  controls.hidden = false;
  sortBy(-1, false);
})();
