// The page on the bench. What a person answers is first written into this browser's own storage, one entry for each
// answer, and taken out only when the server has said that it is in the record. Every entry has an id, so that an
// answer that is sent twice counts once, and the revision it was made upon, so that nobody's answer is overwritten
// unseen. All text is set as text, never as markup.
"use strict";

const POLL = 1500;
const LEGS = ["negative-leg", "positive-leg", "cells", "links"];
const PHOTO_LIMIT = 40 * 1024 * 1024;
const $ = (id) => document.getElementById(id);
let state = null;
let at = localStorage.getItem("at") || "";
let trail = [];
let left = new Set();
let online = false;
let sending = false;
let saved = 0;
let shown = "";
let onlyOpen = true;
let typing = false;
// The first look lasts until it is over or left; it goes on when the record has taken the answer in.
let then = 0;
const firstOn = () => localStorage.getItem("first") !== "over";

function make(tag, text, attributes = {}) {
  const element = document.createElement(tag);
  if (text !== undefined && text !== null) element.textContent = text;
  for (const [name, value] of Object.entries(attributes)) {
    if (name === "on") element.addEventListener("click", value);
    else if (value !== undefined && value !== false) element.setAttribute(name, value === true ? "" : value);
  }
  return element;
}

// ---------------------------------------------------------------- what waits to be sent

function newId() {
  const bytes = crypto.getRandomValues(new Uint8Array(12));
  return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
}

function stored(prefix) {
  const all = [];
  for (let index = 0; index < localStorage.length; index += 1) {
    const name = localStorage.key(index);
    if (!name.startsWith(prefix)) continue;
    try { all.push({ name, ...JSON.parse(localStorage.getItem(name)) }); } catch { /* not ours */ }
  }
  return all.sort((a, b) => a.order - b.order || (a.id < b.id ? -1 : 1));
}

// A screen that is saved at once is one operation with several answers.
const answersOf = (op) => op.answers || [op];
const waiting = () => stored("op:").filter((op) => !state || op.record === state.record);
const foreign = () => stored("op:").filter((op) => state && op.record !== state.record);
const problems = () => stored("problem:").filter((op) => !state || op.record === state.record);

function put(op) {
  const { name, ...rest } = op;
  localStorage.setItem(name, JSON.stringify(rest));
}

function ask(operation) {
  const id = newId();
  const order = Math.max(Date.now(), Number(localStorage.getItem("order") || 0) + 1);
  const op = { id, order, record: state.record, ...operation, name: `op:${id}` };
  try {
    localStorage.setItem("order", String(order));
    put(op);
  } catch {
    tell("This browser's storage is full: the answer was not kept. Wait until the others are sent.");
    return false;
  }
  // What was typed for an answer is in it now; what else is asked for leaves it where it was typed.
  if (op.do === "answer") for (const { key } of answersOf(op)) Object.keys(localStorage).filter((name) => name.split("#")[0] === `draft:${key}`).forEach((name) => localStorage.removeItem(name));
  send();
  return true;
}

// Photos are too large for localStorage; they wait in the browser's database.
function database() {
  return new Promise((resolve, reject) => {
    const open = indexedDB.open("underlid", 1);
    open.onupgradeneeded = () => open.result.createObjectStore("photos", { keyPath: "id" });
    open.onsuccess = () => resolve(open.result);
    open.onerror = () => reject(open.error);
  });
}
async function photos(mode, action) {
  const base = await database();
  return new Promise((resolve, reject) => {
    const transaction = base.transaction("photos", mode);
    const request = action(transaction.objectStore("photos"));
    transaction.oncomplete = () => { base.close(); resolve(request.result); };
    transaction.onerror = () => { base.close(); reject(transaction.error); };
  });
}
let waitingPhotos = [];
async function countPhotos() {
  try { waitingPhotos = await photos("readonly", (store) => store.getAll()); } catch { waitingPhotos = []; }
}

// ---------------------------------------------------------------- talking to the server

async function call(path, options = {}) {
  const control = new AbortController();
  const timer = setTimeout(() => control.abort(), options.patience || 15000);
  try {
    const headers = { "x-underlid": "1", ...(options.headers || {}) };
    return await fetch(path, { ...options, headers, signal: control.signal, cache: "no-store" });
  } finally {
    clearTimeout(timer);
  }
}

async function send() {
  if (sending || !state) return;
  sending = true;
  try {
    for (let op = waiting()[0]; op; op = waiting()[0]) {
      const { name, ...body } = op;
      const answer = await call("/api/op", { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(body) });
      if (answer.status === 401) { pair(); break; }
      if (answer.status >= 500 || answer.status === 408 || answer.status === 429) break;
      const result = answer.ok ? await answer.json() : { status: "refused", message: await answer.text() };
      if (localStorage.getItem(name) === null) continue;
      settle(op, result);
    }
    await sendPhotos();
    online = true;
  } catch {
    online = false;
  } finally {
    sending = false;
    render();
  }
}

function settle(op, result) {
  if (result.status === "saved") {
    // Answers made upon these by the same device are made upon what is recorded now.
    const upon = (later) => answersOf(op).some(({ key, seen }) => key && key === later.key && seen === later.seen);
    const moved = (later) => (upon(later) ? { ...later, seen: result.revs[later.key] } : later);
    for (const later of waiting()) {
      if (later.id !== op.id) put(later.answers ? { ...later, answers: later.answers.map(moved) } : moved(later));
    }
    localStorage.removeItem(op.name);
    for (const line of result.decided) decided(line);
    if (op.do === "stay" && question(op.key)) question(op.key).lost = null;
    if (op.do === "answer") for (const { key } of answersOf(op)) if (question(key)) question(key).lost = null;
    // It is answered, though the state that shows it is still on its way; one that was asked for before is too old.
    saved += 1;
    const told = op.do === "answer" ? answersOf(op).filter(({ key }) => question(key)) : [];
    for (const { key } of told) if (question(key).kind !== "adds") Object.assign(question(key), { open: false, rev: result.revs[key] });
    if (result.decided.length === 0) tell(`Saved: ${told.map(({ key, value }) => `${asked(key)} ${value ?? ""}`).join("; ") || result.said}`);
    const [before, here, walk] = [state.questions.map((each) => each.key), at, walked];
    poll().then(() => {
      const fresh = state.questions.filter((each) => !before.includes(each.key));
      // What was added is asked about next, what was renamed stays at hand with what was typed there; where something was
      // removed, the list goes on. Whoever went elsewhere meanwhile stays there.
      const stayed = walk === walked;
      const item = (key) => key.split("@")[0];
      if (op.do === "add" && stayed && !firstOn()) { const added = fresh.find(isAsked); if (added) go(added.key); }
      if (op.do === "rename" && fresh.length) renamed(here, fresh.find((each) => item(each.key) === item(here)) || fresh[0], stayed);
      const after = before.slice(before.indexOf(here)).find(question);
      if (op.do === "remove" && stayed && after && after !== here) go(after, false);
    });
  } else {
    put({ ...op, name: `problem:${op.id}`, problem: result.status, message: result.message, now: result.now, revs: result.revs });
    localStorage.removeItem(op.name);
    poll();
  }
}

function renamed(from, to, stayed) {
  const [old, now] = [from, to.key].map((key) => `@${partOf(key)}`);
  for (const name of Object.keys(localStorage).filter((name) => name.startsWith("draft:") && name.split("#")[0].endsWith(old))) {
    localStorage.setItem(name.replace(old, now), localStorage.getItem(name));
    localStorage.removeItem(name);
  }
  if (stayed) go(to.key, false);
}

async function sendPhotos() {
  await countPhotos();
  for (const photo of waitingPhotos.filter((photo) => photo.record === state.record && !photo.refused)) {
    const query = new URLSearchParams({ key: photo.key, record: photo.record });
    const answer = await call(`/api/photo?${query}`, { method: "POST", body: photo.blob, patience: 180000, headers: { "content-type": photo.blob.type || "application/octet-stream" } });
    if (answer.status === 401) { pair(); return; }
    if (answer.status >= 500 || answer.status === 408 || answer.status === 429) return;
    const result = answer.ok ? await answer.json() : { status: "refused", message: await answer.text() };
    // A refused picture stays on this device until somebody has looked at why.
    if (result.status === "saved") {
      decided(`Photo kept: ${result.said}`);
      await photos("readwrite", (store) => store.delete(photo.id));
    } else {
      await photos("readwrite", (store) => store.put({ ...photo, refused: result.message }));
    }
    await countPhotos();
    poll();
  }
}

async function poll() {
  const before = saved;
  try {
    const answer = await call(`/api/state?since=${state ? state.revision : ""}`);
    if (answer.status === 401) { pair(); return; }
    online = answer.ok;
    if (answer.status === 200) {
      const fresh = await answer.json();
      if (before !== saved && state) return;
      state = fresh;
      localStorage.setItem("state", JSON.stringify(state));
      if (then && !waiting().length) onward();
    } else if (!answer.ok) {
      tell(await answer.text());
    }
  } catch {
    online = false;
  }
  render();
}

// ---------------------------------------------------------------- questions

const partOf = (key) => key.split("@")[1] || "";
const question = (key) => state.questions.find((one) => one.key === key);
const asked = (key) => { const one = question(key); return one ? `${one.number} ${one.prompt}` : ""; };
const pendingFor = (key) => waiting().filter((op) => !["add", "point", "with"].includes(op.do)).flatMap((op) => answersOf(op).map((own) => ({ do: op.do, ...own }))).filter((own) => own.key === key).pop();
const isOpen = (one) => one.open && one.applies === "yes" && !pendingFor(one.key);
// What is seldom wanted is in the list, but the walk does not stop at it.
const isAsked = (one) => isOpen(one) && !one.aside;

// Open questions of the same part from here on; for a question about the pack those of the section. Cells are gone
// through item by item: there it is the item that is left.
function restOf(one) {
  const from = state.questions.indexOf(one);
  const item = (key) => key.split("@")[0];
  const same = (each) => (one.cell ? item(each.key) === item(one.key) : each.section === one.section && partOf(each.key) === partOf(one.key));
  return state.questions.slice(from).filter((each) => same(each) && isAsked(each));
}

// What is asked on one screen with a question, from it on: what is read off one card of its part. With `more`, all that is
// open of the part, what is seldom wanted included.
let more = "";
const samePart = (one) => (each) => each.section === one.section && partOf(each.key) === partOf(one.key);
const ofScreen = (one) => (each) => (more === one.key ? isOpen(each) && each.kind !== "adds" : one.card && each.card === one.card && isAsked(each) && !left.has(each.key));
function screenOf(one) {
  // In a first look one thing is asked at a time, and what is answered already is shown alone.
  const alone = (firstOn() && state.first.some((ask) => ask.key === one.key)) || !isAsked(one);
  if (alone && more !== one.key) return [one];
  const from = more === one.key ? 0 : state.questions.indexOf(one);
  return state.questions.slice(from).filter((each) => each === one || (samePart(one)(each) && ofScreen(one)(each)));
}

const firstAsk = () => (firstOn() ? state.first.find(({ key }) => question(key) && isOpen(question(key)) && !left.has(key)) : undefined);

// What the first look came to stays in sight until the question after it was left.
let told = false;

function first(over) {
  localStorage.setItem("first", over ? "over" : "on");
  if (!over) left = new Set();
  $("first").open = told = over;
  onward();
}

function next(from) {
  const ask = firstAsk();
  if (ask) return question(ask.key);
  if (firstOn()) {
    localStorage.setItem("first", "over");
    $("first").open = told = true;
  }
  const all = state.questions;
  const start = all.findIndex((one) => one.key === from) + 1;
  const order = [...all.slice(start), ...all.slice(0, start)];
  const fresh = order.find((one) => isAsked(one) && !left.has(one.key));
  if (fresh) return fresh;
  // Everything was seen once: the walk begins again with what was skipped.
  left = new Set();
  return order.find(isAsked);
}

// How often somebody went somewhere, or was led there.
let walked = 0;

// Nobody is led on from what was answered before.
function stay() {
  clearTimeout(then);
  then = 0;
}

function go(key, keep = true) {
  walked += 1;
  stay();
  if (keep && at && at !== key) trail.push(at);
  if (key !== at) more = "";
  at = key;
  localStorage.setItem("at", key);
  shown = "";
  render();
  window.scrollTo(0, 0);
  if (document.activeElement !== $("value")) $("main").focus({ preventScroll: true });
}

function onward() {
  const one = next(at);
  if (one) go(one.key);
  else { stay(); shown = ""; render(); }
}

function extra(place = "") {
  const said = {};
  for (const name of ["how", "with", "note"]) {
    const field = $(`extra-${name}${place}`);
    if (field && field.value.trim() && field.value !== field.dataset.was) said[name] = field.value.trim();
  }
  return said;
}

function given(one, value, said) {
  const before = pendingFor(one.key);
  return { key: one.key, seen: before ? before.seen : one.rev, value, ...said };
}
const nothing = "Nothing is filled in here yet. Skip leaves it open.";
const kept = (one, value, said) => ask({ do: "answer", ...given(one, value, said) });

function answer(one, value) {
  const said = extra();
  if (value === undefined && Object.keys(said).length === 0) { tell(nothing); return; }
  // Whoever has just typed goes on typing: the keyboard stays up where the next question wants text too.
  typing = Boolean($("value"));
  if (kept(one, value, said)) answered();
}

// The answers of one screen are kept together; what is left empty stays open.
function answerScreen(screen) {
  const filled = [...screen.entries()].filter(([place, one]) => valueAt(one, place) !== undefined);
  if (!filled.length) { tell(nothing); return; }
  if (!ask({ do: "answer", answers: filled.map(([place, one]) => given(one, valueAt(one, place), extra(`-${place}`))) })) return;
  for (const one of screen) if (!filled.some(([, each]) => each === one)) left.add(one.key);
  more = "";
  answered();
}

// A refused answer is put back where it was typed: on a screen of several, words are chosen from a list.
function draft(key, value, several) {
  const one = question(key);
  const word = several && (["absent", "could not see"].includes(value) || one?.choices.length);
  localStorage.setItem(`draft:${key}${word ? "#pick" : ""}`, value);
  left.delete(key);
}

// What stands in a field of a screen. A number without a unit takes the one that is shown beside it.
function valueAt(one, place) {
  const [pick, field] = [$(`pick-${place}`), $(`value-${place}`)];
  const picked = pick ? pick.value : "";
  if (!field) return picked || undefined;
  const typed = field.value.trim();
  if (["absent", "could not see"].includes(picked)) return picked;
  return typed && picked && /[\d.]$/.test(typed) ? `${typed} ${picked}` : typed || undefined;
}

// What comes next in the first look depends on what the answer settled; without a connection it does not wait.
function answered() {
  if (!firstOn() || !online) onward();
  else then = setTimeout(onward, 2000);
}

// ---------------------------------------------------------------- showing

function tell(text) {
  const box = $("decided");
  box.prepend(make("p", text));
  while (box.children.length > 8) box.lastChild.remove();
}
function decided(line) { tell(typeof line === "string" ? line : line.line); }

function renderStatus() {
  const queue = waiting().length + waitingPhotos.filter((photo) => !photo.refused).length;
  const words = [online ? "connected" : "no connection: answers are kept in this browser"];
  if (queue) words.push(`${queue} waiting to be sent`);
  else words.push("everything is in the record");
  if (foreign().length) words.push(`${foreign().length} of another record are kept until it is served again`);
  if (state && state.beside) words.push("a long log is being read, its findings follow");
  const text = words.join("; ");
  if ($("status").textContent !== text) $("status").textContent = text;
  if (!state) return;
  $("title").textContent = state.title;
  $("told").textContent = state.told.join(" ");
  $("told").hidden = !state.told.length;
  $("counts").textContent = `▼ ${state.counts.falls_short} ◇ ${state.counts.not_decided} ● ${state.counts.meets}`;
  $("counts-words").textContent = `Findings: ${state.counts.falls_short} falls short, ${state.counts.not_decided} not decided, ${state.counts.meets} meets`;
  const asked = state.questions.filter((one) => one.applies === "yes" && !(one.aside && isOpen(one)));
  $("progress").max = asked.length || 1;
  $("progress").value = asked.filter((one) => !isOpen(one)).length;
}

function render() {
  renderStatus();
  if (!state) return;
  renderFirst();
  renderProblems();
  const one = question(at) || next("");
  if (!one) {
    $("card").replaceChildren(make("h2", "Everything on the list is answered."), make("p", "List shows every question; an answer can be changed there."), make("p", "In the terminal “underlid seal” writes down the hashes of all that is here, and “underlid report” makes the write-up."));
    delete $("card").dataset.key;
    $("photo-label").classList.remove("wanted");
    return;
  }
  if (at !== one.key) { at = one.key; localStorage.setItem("at", at); }
  const screen = screenOf(one);
  const mark = JSON.stringify([screen.map((each) => [each.key, each.rev, each.applies, each.now, pendingFor(each.key)]), one.part_photos, one.part_with, waitingPhotos.length]);
  if (mark === shown) return;
  // A text that is being typed is not pulled from under the fingers: it is kept as a draft and put back.
  const active = document.activeElement;
  const focused = $("card").contains(active) && $("card").dataset.key === one.key ? active.id : "";
  const cursor = focused.startsWith("value") ? active.selectionStart : null;
  shown = mark;
  if ($("card").dataset.key && $("card").dataset.key !== one.key && !firstOn()) {
    if (!told) $("first").open = false;
    told = false;
  }
  $("card").dataset.key = one.key;
  $("card").replaceChildren(...(screen.length > 1 ? cardOf(screen) : card(one)));
  $("photo-label").classList.toggle("wanted", screen.some((each) => each.photo === "required") && !one.part_photos.length && !waitingPhotos.some((photo) => photo.key === one.key));
  if (focused && $(focused)) {
    $(focused).focus();
    if (cursor !== null) $(focused).setSelectionRange(cursor, cursor);
  } else if ($("value") && typing) $("value").focus();
  typing = false;
}

function head(one, title) {
  const section = state.sections.find((each) => each.id === one.section);
  const parts = [make("p", `${one.number} · ${section.title}${one.of ? ` · ${one.of}` : ""}`, { class: "where" }), make("h2", title)];
  const first = state.questions.find((each) => each.section === one.section);
  if (section.caution && first.key === one.key) parts.push(caution(section.caution));
  return parts;
}

// Several fields that are read off one thing, saved together.
function cardOf(screen) {
  const [one] = screen;
  const parts = head(one, more === one.key ? `All that is open${one.of ? ` of ${one.of}` : " here"}` : one.card[0].toUpperCase() + one.card.slice(1));
  parts.push(...pictures(one, ["required", "useful"].find((photo) => screen.some((each) => each.photo === photo))));
  for (const [place, each] of screen.entries()) parts.push(fieldOf(each, place));
  parts.push(make("button", "Save", { type: "button", class: "main", on: () => answerScreen(screen) }), make("label", "Choose pictures", { class: "button", for: "pictures" }), ...ofPart(one));
  return parts;
}

function fieldOf(one, place) {
  const box = make("div", null, { class: "asked", "data-key": one.key });
  const draft = (what) => `draft:${one.key}${what}`;
  const keep = (what, field) => {
    field.value = localStorage.getItem(draft(what)) ?? field.value;
    for (const event of ["input", "change"]) field.addEventListener(event, () => localStorage.setItem(draft(what), field.value));
  };
  if (one.caution) box.append(caution(one.caution));
  const row = make("div", null, { class: "row" });
  const pick = make("select", null, { id: `pick-${place}` });
  const option = (word, text = word) => pick.append(make("option", text, { value: word }));
  if (one.choices.length) {
    box.append(make("label", `${one.number} ${one.prompt}`, { class: "field", for: pick.id }));
    option("", "not looked yet");
    for (const choice of one.choices) option(choice.word, choice.about ? `${choice.word}: ${choice.about}` : choice.word);
  } else {
    const field = make("input", null, { id: `value-${place}`, autocomplete: "off", inputmode: one.units.length || one.kind === "count" ? "decimal" : "text", placeholder: one.sides.join(" x ") });
    box.append(make("label", `${one.number} ${one.prompt}`, { class: "field", for: field.id }));
    pick.setAttribute("aria-label", `Unit, or why there is no answer: ${one.prompt}`);
    keep("", field);
    if (one.sides.length) box.append(sides(one, field, `-${place}`));
    box.append(...codesOf(one, field));
    row.append(field);
    if (one.units.length) for (const unit of one.units) option(unit);
    else option("", "as typed");
  }
  for (const word of ["absent", "could not see"]) option(word);
  keep("#pick", pick);
  row.append(pick);
  box.append(row);
  if (!one.open) box.append(make("p", `Now: ${one.now}`, { class: "now" }));
  box.append(extras(one, `-${place}`, make("p", `${one.why} ${one.look} Expected: ${one.expected}.`, { class: "help" })));
  return box;
}

// What belongs to the part at hand: like another one, skipped, or asked in full.
function ofPart(one) {
  const parts = [];
  if (one.like && isOpen(one)) {
    parts.push(make("button", `Same as ${one.like}`, { type: "button", id: "same", on: () => { if (ask({ do: "same", key: one.key, what: one.like })) tell(`What was seen is taken over from ${one.like}; what is measured stays open.`); } }));
  }
  if (one.element && (!one.open || one.like)) parts.push(make("button", one.open ? `All of this kind here are as ${one.like}` : "All of this kind here are alike", { type: "button", id: "alike", on: () => ask({ do: "alike", key: one.key }) }));
  if (one.test && state.instruments.length) parts.push(instrumentsOf(one));
  if (one.element && LEGS.includes(one.section)) parts.push(make("button", "Rename, move or remove", { type: "button", id: "change", on: () => change(one) }));
  const seldom = state.questions.filter((each) => samePart(one)(each) && isOpen(each) && each.aside && each.kind !== "adds");
  if (seldom.length && more !== one.key && !one.cell) parts.push(make("button", one.of ? "More of this part" : "More of this section", { type: "button", id: "more", on: () => { more = one.key; shown = ""; render(); } }));
  const rest = restOf(one);
  if (rest.length > 1) {
    parts.push(make("button", one.cell ? "Skip this for the other cells" : one.of ? `Skip the rest of ${one.of}` : `Skip the rest of this section`, { type: "button", id: "skip-rest", on: () => { for (const each of rest) left.add(each.key); left.add(one.key); onward(); } }));
  }
  return parts;
}

// The instruments that took the readings of a test; those of the rig say what they read.
function instrumentsOf(one) {
  const box = make("details", null, { id: "with" });
  const said = one.part_with.split(",").map((id) => id.trim()).filter(Boolean);
  box.append(make("summary", `Its instruments: ${said.join(", ") || "not said yet"}`));
  const picked = new Set(said);
  for (const [id, about] of state.instruments) {
    const button = make("button", id, { type: "button", "aria-pressed": picked.has(id) ? "true" : "false", on: () => {
      if (!picked.delete(id)) picked.add(id);
      button.setAttribute("aria-pressed", picked.has(id) ? "true" : "false");
    } });
    if (about) button.append(make("small", ` ${about}`));
    box.append(button);
  }
  box.append(make("button", "Save the instruments", { type: "button", on: () => { if (picked.size) ask({ do: "with", key: one.key, what: [...picked].join(", ") }); } }));
  return box;
}

// The photos of the part at hand, and whether one is wanted.
function pictures(one, photo) {
  const parts = [];
  const here = waitingPhotos.filter((each) => each.key === one.key && !each.refused).length;
  if (one.part_photos.length || here) parts.push(make("p", `Photos: ${[...one.part_photos, ...(here ? [`${here} waiting`] : [])].join(", ")}`, { class: "help" }));
  else if (photo) parts.push(make("p", photo === "required" ? "A photo is required." : "A photo helps.", { class: "help" }));
  if (one.element && one.part_photos.length) {
    const row = make("div", null, { class: "row" });
    for (const name of one.part_photos) row.append(make("button", `Point to it in ${name}`, { type: "button", on: () => point(one, name) }));
    parts.push(row);
  }
  if (one.measures && one.part_photos.length) {
    const row = make("div", null, { class: "row" });
    for (const name of one.part_photos) row.append(make("button", `Measure in ${name}`, { type: "button", on: () => measure(one, name) }));
    parts.push(row);
  }
  return parts;
}

// The codes in the photos of a label, offered to be compared and then saved.
function codesOf(one, field) {
  if (!one.codes) return [];
  return one.part_photos.map((name) => {
    const box = make("div", null, { class: "codes" });
    const read = async () => {
      box.replaceChildren(make("p", "The photo is being read.", { class: "help", role: "status" }));
      let codes = [];
      let words = "No code was found. Take the label sharp, from the front and without glare.";
      try {
        const answer = await call(`/api/codes?${new URLSearchParams({ name })}`, { patience: 60000 });
        if (answer.ok) codes = await answer.json(); else words = await answer.text();
      } catch { words = "No connection: the photo is read by the program, not by this device."; }
      box.replaceChildren(make("p", codes.length ? "Compare with the label, then take one over:" : words, { class: "help", role: "status" }), ...codes.map(({ text, says }) => {
        const button = make("button", text, { type: "button", on: () => { field.value = text; field.dispatchEvent(new Event("input")); field.focus(); } });
        button.append(make("small", says));
        return button;
      }));
    };
    box.append(make("button", `Read the codes in ${name}`, { type: "button", on: read }));
    return box;
  });
}

function card(one) {
  const parts = head(one, one.prompt);
  if (one.caution) parts.push(caution(one.caution));
  const look = firstOn() ? state.first.find((ask) => ask.key === one.key) : undefined;
  if (look && look.caution && look.caution !== one.caution) parts.push(caution(look.caution));
  if (look && look.decides) parts.push(make("p", `Decides: ${look.decides}. Takes ${look.effort === "glance" ? "a glance" : `about ${look.time_s < 120 ? `${look.time_s} s` : `${look.time_s / 60} min`} (${look.effort})`}.`, { class: "help" }));
  parts.push(make("p", one.why, { class: "help" }), make("p", one.look, { class: "help" }));
  if (one.applies === "waits") parts.push(make("p", `It waits for other answers: ${one.because}`, { class: "help" }));
  if (one.applies === "no") parts.push(make("p", `It does not apply: ${one.because}`, { class: "help" }));
  const pending = pendingFor(one.key);
  const now = pending ? `${pending.do === "clear" ? "taken back" : pending.value || "annotated"} (waiting to be sent)` : one.now;
  if (pending || !one.open) parts.push(make("p", `Now: ${now}`, { class: "now" }));
  parts.push(...pictures(one, one.photo));
  const several = make("label", "Choose pictures", { class: "button", for: "pictures" });
  parts.push(...inputs(one), several);
  if (one.kind !== "adds") parts.push(extras(one));
  parts.push(...ofPart(one));
  if (!one.open && one.kind !== "adds") {
    parts.push(make("button", "Take the answer back", { type: "button", on: () => { ask({ do: "clear", key: one.key, seen: one.rev }); shown = ""; render(); } }));
  }
  return parts;
}

function renderFirst() {
  const box = $("first");
  const settled = state.headlines.filter((one) => one.settled).length;
  const title = `First look${firstOn() ? "" : " is over"}: ${settled} of ${state.headlines.length} questions settled`;
  const mark = JSON.stringify([title, state.headlines]);
  if (box.dataset.mark === mark) return;
  box.dataset.mark = mark;
  box.replaceChildren(make("summary", title), ...state.headlines.map((one) => make("p", one.line)));
  if (firstOn()) box.append(make("button", "Leave it: section by section", { type: "button", on: () => first(true) }));
  else box.append(make("p", "The rest is asked section by section.", { class: "help" }), make("button", "First look again", { type: "button", on: () => first(false) }));
}

function caution(text) {
  const box = make("div", null, { class: "caution" });
  box.append(make("strong", "⚠ Caution"), make("span", text));
  return box;
}

function inputs(one) {
  const parts = [];
  if (one.choices.length) {
    const box = make("div", null, { class: one.kind === "yesno" ? "two" : "choices" });
    for (const choice of one.choices) {
      const recorded = one.chosen === choice.word;
      const button = make("button", choice.word, { type: "button", "aria-pressed": recorded ? "true" : undefined, on: () => answer(one, choice.word) });
      if (choice.about) button.append(make("small", choice.about));
      box.append(button);
    }
    parts.push(box);
  } else {
    const label = one.kind === "adds" ? "Parts" : "Answer";
    parts.push(make("label", `${label}: ${one.expected}`, { class: "field", for: "value" }));
    const long = one.kind === "text" || one.kind === "adds";
    const field = long ? make("textarea", null, { id: "value", rows: "2" })
      : make("input", null, { id: "value", autocomplete: "off", inputmode: one.units.length || one.kind === "count" ? "decimal" : "text", enterkeyhint: "done" });
    field.value = localStorage.getItem(`draft:${one.key}`) ?? "";
    field.addEventListener("input", () => localStorage.setItem(`draft:${one.key}`, field.value));
    const save = () => {
      const typed = field.value.trim();
      // A size typed side by side has the unit that is shown first, and every side.
      const lacking = one.sides.filter((side) => !$(`side-${side}`).value.trim());
      if (!typed && lacking.length && lacking.length < one.sides.length) { tell(`Not saved: ${lacking.join(" and ")} is not filled in.`); $(`side-${lacking[0]}`).focus(); return; }
      answer(one, one.sides.length && /[\d.,]$/.test(typed) ? `${typed} ${one.units[0]}` : typed || undefined);
    };
    if (!long) field.addEventListener("keydown", (event) => { if (event.key === "Enter") { event.preventDefault(); save(); } });
    if (one.sides.length) parts.push(sides(one, field));
    // What is typed, its unit and Save stand together: on a phone on its side they are one line.
    const entry = make("div", null, { class: "entry" });
    entry.append(field);
    parts.push(...codesOf(one, field), entry);
    const add = (text, separator) => {
      const start = field.value.trim();
      field.value = start ? `${start}${separator}${text}` : text;
      localStorage.setItem(`draft:${one.key}`, field.value);
    };
    if (one.units.length) {
      // A unit saves: it is the last thing that is missing.
      const chips = make("div", null, { class: "chips" });
      for (const unit of one.units) {
        chips.append(make("button", unit, { type: "button", "aria-label": `${unit}, save`, on: () => { if (field.value.trim()) { add(unit, " "); save(); } else field.focus(); } }));
      }
      entry.append(chips);
      const ranges = make("div", null, { class: "chips" });
      for (const words of ["at least", "at most", "about"]) {
        ranges.append(make("button", words, { type: "button", "aria-label": `${words}, before the number`, on: () => { field.value = `${words} ${field.value.trim()}`; field.focus(); } }));
      }
      ranges.append(make("button", "… to …", { type: "button", "aria-label": "to, between two ends", on: () => { field.value = `${field.value.trim()} to `; field.focus(); } }));
      if (!one.sides.length) parts.push(ranges);
    }
    if (one.chips.length) {
      const chips = make("div", null, { class: "chips" });
      for (const kind of one.chips) chips.append(make("button", kind, { type: "button", on: () => add(kind, ", ") }));
      parts.push(chips);
    }
    entry.append(make("button", one.kind === "adds" ? "Add" : "Save", { type: "button", class: "main", on: save }));
  }
  if (one.kind !== "adds") {
    const box = make("div", null, { class: "two" });
    box.append(make("button", "absent", { type: "button", on: () => answer(one, "absent") }), make("button", "could not see", { type: "button", on: () => answer(one, "could not see") }));
    parts.push(box);
  }
  return parts;
}

// A size is typed side by side; what was typed stands in the field below as it will be saved.
function sides(one, field, place = "") {
  const box = make("div", null, { class: "two" });
  const inputs = one.sides.map((side) => make("input", null, { id: `side-${side}${place}`, inputmode: "decimal", autocomplete: "off", placeholder: side, "aria-label": side }));
  for (const [index, input] of inputs.entries()) {
    // Half a size is kept as well: the card may be drawn again before the other half is typed.
    const draft = `draft:${one.key}#${one.sides[index]}`;
    input.value = localStorage.getItem(draft) ?? "";
    input.addEventListener("input", () => {
      localStorage.setItem(draft, input.value);
      field.value = inputs.every((each) => each.value.trim()) ? inputs.map((each) => each.value.trim()).join(" x ") : "";
      localStorage.setItem(`draft:${one.key}`, field.value);
    });
  }
  box.append(...inputs);
  return box;
}

function extras(one, place = "", help = "") {
  const box = make("details");
  box.append(make("summary", one.default_how ? `How it came: ${one.default_how} unless you say otherwise; note` : "How it came, instrument, note"), help);
  const choose = (id, label, options, was) => {
    box.append(make("label", label, { class: "field", for: id }));
    const select = make("select", null, { id });
    select.append(make("option", "as it is", { value: "" }));
    for (const option of options) select.append(make("option", option, { value: option, selected: option === was }));
    select.dataset.was = was;
    box.append(select);
  };
  choose(`extra-how${place}`, "How it came", state.hows, one.how);
  choose(`extra-with${place}`, "Instrument", state.instruments.map(([id]) => id), one.with);
  box.append(make("label", "Note", { class: "field", for: `extra-note${place}` }));
  const note = make("input", null, { id: `extra-note${place}`, autocomplete: "off" });
  note.value = one.note;
  note.dataset.was = one.note;
  box.append(note);
  if (!place) box.append(make("button", "Save these only", { type: "button", on: () => answer(one, undefined) }));
  return box;
}

function renderProblems() {
  const all = problems();
  const refused = waitingPhotos.filter((photo) => photo.refused && photo.record === state.record);
  const box = $("problems");
  const lost = state.questions.filter((one) => one.lost && !pendingFor(one.key)).slice(0, 20);
  const mark = JSON.stringify([all, refused.map((photo) => [photo.id, photo.refused]), lost.map((one) => [one.key, one.lost, one.now])]);
  if (box.dataset.mark === mark) return;
  box.dataset.mark = mark;
  box.hidden = all.length + refused.length + lost.length === 0;
  box.replaceChildren();
  for (const photo of refused) {
    const about = question(photo.key);
    const card = make("div", null, { class: "problem", role: "alert" });
    const then = async (action) => { await photos("readwrite", action); await countPhotos(); render(); send(); };
    const picture = make("img", null, { src: URL.createObjectURL(photo.blob), alt: "the picture that was not kept" });
    picture.addEventListener("load", () => URL.revokeObjectURL(picture.src));
    card.append(make("strong", "This picture was not kept"), make("p", about ? `${about.number} ${about.prompt}` : ""), make("p", photo.refused), picture);
    const row = make("div", null, { class: "two" });
    row.append(make("button", "Leave it", { type: "button", on: () => then((store) => store.delete(photo.id)) }), make("button", "Send it again", { type: "button", on: () => {
      const { refused: _, ...again } = photo;
      then((store) => store.put(again));
    } }));
    card.append(row);
    box.append(card);
  }
  for (const one of lost) {
    const card = make("div", null, { class: "problem", role: "alert" });
    card.append(make("strong", "The record was saved by another program without this answer"), make("p", `${one.number} ${one.prompt}${one.of ? ` (${one.of})` : ""}`),
      make("p", `Confirmed ${one.lost.at}, ${one.lost.device}: ${one.lost.value}`), make("p", `In the record now: ${one.now}`));
    const row = make("div", null, { class: "two" });
    row.append(make("button", "Leave the record as it is", { type: "button", on: () => ask({ do: "stay", key: one.key }) }), make("button", "Write it again", { type: "button", on: () => ask({ do: "answer", key: one.key, seen: one.rev, value: one.lost.value }) }));
    card.append(row);
    box.append(card);
  }
  for (const op of all) {
    const all = answersOf(op);
    const changed = { add: "Add", rename: "Rename", move: "Move", remove: "Remove" }[op.do];
    const about = changed ? `${changed}: ${question(op.key)?.of || asked(op.key)}` : all.map(({ key }) => asked(key) || op.what || key).join("; ");
    const mine = all.map(({ value }) => value ?? op.what ?? "taken back").join("; ");
    const card = make("div", null, { class: "problem", role: "alert" });
    const drop = () => { localStorage.removeItem(op.name); render(); };
    if (op.problem === "conflict") {
      for (const [key, now] of Object.entries(op.now)) {
        const own = all.find((each) => each.key === key);
        card.append(make("strong", "Changed on another device meanwhile"), make("p", asked(key)), make("p", `In the record now: ${now}`), make("p", `Your answer: ${own?.value ?? "taken back"}`));
      }
      const rest = all.filter(({ key }) => !(key in op.now));
      if (rest.length) card.append(make("p", `Saved with it, whichever you choose: ${rest.map(({ key, value }) => `${asked(key)} ${value ?? ""}`).join("; ")}`));
      const row = make("div", null, { class: "two" });
      row.append(make("button", "Keep the record's", { type: "button", on: () => {
        if (rest.length) ask({ do: op.do, answers: rest.map((own) => ({ ...own, seen: op.revs[own.key] })) });
        drop();
      } }), make("button", "Write mine", { type: "button", on: () => {
        // Both answers are kept: what is overwritten stands in the note.
        const note = ({ key, note }) => (op.do === "answer" && key in op.now ? [note, `another device answered: ${op.now[key]}`].filter(Boolean).join("; ") : note);
        const again = (own) => ({ ...own, note: note(own), seen: op.revs[own.key] });
        const { id, order, name, problem, message, now, revs, ...own } = op;
        ask(op.answers ? { ...own, answers: all.map(again) } : again(own));
        drop();
      } }));
      card.append(row);
    } else {
      card.append(make("strong", "Not saved"), make("p", about), make("p", `Your answer: ${mine}`), make("p", op.message));
      const row = make("div", null, { class: "two" });
      row.append(make("button", "Leave it", { type: "button", on: drop }), make("button", "Correct it", { type: "button", on: () => {
        for (const { key, value } of all) if (value && op.do === "answer") draft(key, value, all.length > 1);
        drop();
        const [{ key }] = all;
        if (key) { left.delete(key); go(key); }
      } }));
      card.append(row);
    }
    box.append(card);
  }
}

function renderList() {
  const wanted = $("search").value.toLowerCase();
  const body = $("list-body");
  body.replaceChildren();
  for (const section of state.sections) {
    const all = state.questions.filter((one) => one.section === section.id && one.applies !== "no" && (!onlyOpen || isOpen(one))
      && `${one.number} ${one.prompt} ${one.of} ${one.now} ${section.title}`.toLowerCase().includes(wanted));
    if (!all.length) continue;
    body.append(make("h3", section.title));
    for (const one of all) {
      const button = make("button", `${one.number} ${one.prompt}`, { type: "button", on: () => { $("list-dialog").close(); left.delete(one.key); go(one.key); } });
      button.append(make("small", `${one.of ? `${one.of}: ` : ""}${one.now}`));
      body.append(button);
    }
  }
  if (!body.children.length) body.append(make("p", "Nothing found."));
}

function renderFindings() {
  const body = $("findings-body");
  body.replaceChildren(make("p", `▼ ${state.counts.falls_short} falls short, ◇ ${state.counts.not_decided} not decided, ● ${state.counts.meets} meets. This never says that a pack is safe.`));
  for (const finding of state.findings) {
    body.append(make("h3", `${finding.shape} ${finding.title}${finding.subject ? `: ${finding.subject}` : ""} (${finding.grade})`));
    for (const line of finding.numbers) body.append(make("p", line));
  }
  const box = make("section", null, { id: "next", "aria-live": "polite" });
  box.append(make("h2", "Look at next"), make("p", "being worked out"));
  body.append(box);
  call("/api/next").then((answer) => answer.json()).then(({ looks, more, closed, photos: wanted, supports, supports_caution: beware }) => {
    const list = make("ol");
    for (const { title, lines, caution: beware } of looks) {
      const one = make("li");
      one.append(make("strong", title), ...lines.map((line) => make("p", line)));
      if (beware) one.append(caution(beware));
      list.append(one);
    }
    const rest = [more && `${more} more facts are worth a look.`, closed && `No single fact or pair decides ${closed} checks.`, wanted].filter(Boolean).join(" ");
    box.replaceChildren(make("h2", "Look at next"), list, make("p", rest || (looks.length ? "" : "Nothing that could still be looked at would decide a check.")));
    if (supports.length) box.append(make("h2", "What would make it true"), ...supports.map((line) => make("p", line)), caution(beware));
  }).catch(() => box.replaceChildren(make("h2", "Look at next"), make("p", "It is worked out by the server: no connection.")));
}

// ---------------------------------------------------------------- where a part is in a photo

let pointing = null;
const percent = (value) => Math.round(Math.min(Math.max(value, 0), 1) * 1000) / 10;

function point(one, name) {
  pointing = { key: one.key, name, frame: null };
  $("point-title").textContent = `Where is ${one.of}?`;
  $("point-problem").textContent = "";
  $("point-left").value = $("point-top").value = "";
  $("point-picture").alt = `the photo ${name}`;
  $("point-picture").src = `/api/picture?${new URLSearchParams({ name })}`;
  showMark();
  $("point-dialog").showModal();
}

function showMark() {
  const [left, top] = [Number($("point-left").value.replace(",", ".")), Number($("point-top").value.replace(",", "."))];
  const mark = $("point-mark");
  mark.hidden = $("point-left").value === "" || $("point-top").value === "";
  mark.classList.toggle("dot", !pointing.frame);
  mark.style.left = `${left}%`;
  mark.style.top = `${top}%`;
  [mark.style.width, mark.style.height] = pointing.frame ? pointing.frame.map((side) => `${side}%`) : ["", ""];
}

let from = null;
function where(event) {
  const box = $("point-picture").getBoundingClientRect();
  return [percent((event.clientX - box.left) / box.width), percent((event.clientY - box.top) / box.height)];
}
function drawTo(event) {
  const to = where(event);
  const [width, height] = [Math.abs(to[0] - from[0]), Math.abs(to[1] - from[1])];
  // A finger that shakes has not drawn a frame.
  pointing.frame = width > 2 && height > 2 ? [width, height].map((side) => Math.round(side * 10) / 10) : null;
  const corner = pointing.frame ? [Math.min(from[0], to[0]), Math.min(from[1], to[1])] : from;
  [$("point-left").value, $("point-top").value] = corner;
  showMark();
}

// The devices that are paired, each of which can be sent away.
async function showDevices() {
  const body = $("devices-body");
  let all = [];
  try { all = await (await call("/api/devices")).json(); } catch { body.replaceChildren(make("p", "no connection")); return; }
  body.replaceChildren(...(all.length ? [] : [make("p", "No device is paired: the page is served to this machine only.")]));
  for (const one of all) {
    body.append(make("h3", `Device ${one.number}${one.own ? " (this one)" : ""}`), make("p", `${one.address}, paired at ${one.since}, heard of ${one.quiet} s ago`), make("p", one.browser, { class: "help" }),
      make("button", "Take its pairing away", { type: "button", on: async () => { await call("/api/revoke", { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify({ number: one.number }) }); showDevices(); poll(); } }));
  }
}

function pair() {
  if (!$("pair-dialog").open) $("pair-dialog").showModal();
}

async function tryPair(code) {
  $("pair-problem").textContent = "";
  try {
    const answer = await call("/api/pair", { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify({ code }) });
    if (answer.ok) { $("pair-dialog").close(); history.replaceState(null, "", "/"); poll(); send(); }
    else { pair(); $("pair-problem").textContent = await answer.text(); }
  } catch { $("pair-problem").textContent = "no connection"; }
}

// ---------------------------------------------------------------- what is touched

for (const button of document.querySelectorAll("dialog .close")) button.addEventListener("click", () => button.closest("dialog").close());
$("back").addEventListener("click", () => { const key = trail.pop(); if (key) { left.delete(key); go(key, false); } });
$("skip").addEventListener("click", () => { for (const each of screenOf(question(at))) left.add(each.key); onward(); });
$("list").addEventListener("click", () => { if (!state) return; renderList(); $("list-dialog").showModal(); });
$("devices").addEventListener("click", () => { showDevices(); $("devices-dialog").showModal(); });
$("search").addEventListener("input", renderList);
$("only-open").addEventListener("click", () => { onlyOpen = !onlyOpen; $("only-open").textContent = onlyOpen ? "Showing open" : "Showing all"; renderList(); });
$("show-findings").addEventListener("click", () => { if (!state) return; renderFindings(); $("findings-dialog").showModal(); });
$("add-part").addEventListener("click", () => {
  const one = question(at);
  const leg = one && LEGS.includes(one.section);
  $("add-where").textContent = one && one.element ? `Behind ${one.of}.` : leg ? "At the end of this leg."
    : "An element added here is in no leg, and nothing is asked of it: go to a question of its leg first. Tests, instruments and loads are added at their own questions.";
  const body = $("add-body");
  body.replaceChildren();
  for (const kind of [...state.element_kinds, "reading"]) {
    body.append(make("button", kind, { type: "button", on: () => { ask({ do: "add", key: at, what: kind }); $("add-dialog").close(); $("list-dialog").close(); } }));
  }
  if (one && one.test) body.prepend(rowForm(one));
  $("add-title").textContent = "Add a part";
  $("add-dialog").showModal();
});

// The part at hand is renamed, moved or taken out.
function change(one) {
  const others = new Map(state.questions.filter((each) => each.element && each.section === one.section && !samePart(one)(each)).map((each) => [partOf(each.key), each.of]));
  const behind = make("select", null, { id: "change-behind" });
  behind.append(make("option", "nothing: it is the first of its leg", { value: "" }));
  for (const [id, of] of others) behind.append(make("option", of, { value: id }));
  const act = (what, field) => make("button", what, { type: "button", on: () => {
    const id = field.value.trim();
    if (!id && field !== behind) { field.focus(); return; }
    if (ask({ do: what.toLowerCase(), key: one.key, what: id })) $("add-dialog").close();
  } });
  const row = (text, field, what) => [make("label", text, { class: "field", for: field.id }), field, act(what, field)];
  const typed = (id) => make("input", null, { id, autocomplete: "off", autocapitalize: "none" });
  $("add-title").textContent = one.of;
  $("add-where").textContent = "Rename, move or remove it.";
  $("add-body").replaceChildren(...row("New id", typed("change-id"), "Rename"), ...row("It stands behind", behind, "Move"),
    ...row(`To remove it with its answers, type its id: ${partOf(one.key)}`, typed("change-gone"), "Remove"));
  $("add-dialog").showModal();
}

// A reading of an instrument during a bench test: time, value, and what it is of.
function rowForm(one) {
  const form = make("form", null, { id: "row-form" });
  form.append(make("h3", `A reading during ${one.of}`));
  const fields = [["row-at", "Time since the start, such as 15 min"], ["row-value", "Value, such as 77 A"], ["row-of", "What was read, such as branch 1"]];
  for (const [id, text] of fields) form.append(make("label", text, { class: "field", for: id }), make("input", null, { id, autocomplete: "off" }));
  form.append(make("button", "Add the reading", { type: "submit", class: "main" }));
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const [at, value, of] = fields.map(([id]) => $(id).value.trim());
    if (!at || !value) { $(at ? "row-value" : "row-at").focus(); return; }
    if (ask({ do: "add", key: one.key, what: `row ${at}, ${value}${of ? `, ${of}` : ""}` })) {
      // What it is of stays: the next row is usually of the same.
      $("row-at").value = ""; $("row-value").value = ""; $("row-at").focus();
    }
  });
  return form;
}
$("point-at").addEventListener("pointerdown", (event) => {
  event.preventDefault();
  $("point-at").setPointerCapture(event.pointerId);
  from = where(event);
  drawTo(event);
});
$("point-at").addEventListener("mousedown", (event) => event.preventDefault());
$("point-at").addEventListener("pointermove", (event) => { if (from) drawTo(event); });
for (const end of ["pointerup", "pointercancel"]) $("point-at").addEventListener(end, () => { from = null; });
for (const side of ["point-left", "point-top"]) $(side).addEventListener("input", () => { pointing.frame = null; showMark(); });
$("point-picture").addEventListener("error", () => { $("point-problem").textContent = "The picture cannot be shown here."; });
$("point-save").addEventListener("click", () => {
  const sides = [$("point-left").value, $("point-top").value].map((side) => side.trim().replace(",", "."));
  if (!sides.every((side) => side !== "" && Number(side) >= 0 && Number(side) <= 100)) {
    $("point-problem").textContent = "Tap the part first, or type two numbers from 0 to 100.";
    return;
  }
  const place = [...sides, ...(pointing.frame || [])].map((side) => `${side} %`).join(", ");
  if (ask({ do: "point", key: pointing.key, what: pointing.name, value: place })) $("point-dialog").close();
});
async function keepPhotos(input) {
  const files = [...input.files];
  input.value = "";
  if (!files.length || !state) return;
  const [key, record] = [at, state.record];
  let kept = 0;
  for (const file of files) {
    if (file.size > PHOTO_LIMIT) { tell(`A picture is larger than ${PHOTO_LIMIT / 1024 / 1024} MiB; it was not taken.`); continue; }
    // The name of the file stays in the browser: names in photos/ are made by the server.
    try {
      const photo = { id: newId(), key, record, blob: new Blob([await file.arrayBuffer()], { type: file.type }) };
      await photos("readwrite", (store) => store.put(photo));
      kept += 1;
    } catch { tell(`This browser's storage is full: ${kept} of ${files.length} pictures were kept, the rest was not.`); break; }
  }
  if (kept > 1) tell(`${kept} pictures are on their way.`);
  await countPhotos();
  shown = "";
  render();
  send();
}
for (const id of ["photo", "pictures"]) $(id).addEventListener("change", () => keepPhotos($(id)));
$("pair-form").addEventListener("submit", (event) => { event.preventDefault(); tryPair($("pair-code").value.trim()); });
window.addEventListener("online", () => { poll(); send(); });
document.addEventListener("visibilitychange", () => { if (!document.hidden) { poll(); send(); } });

try { state = JSON.parse(localStorage.getItem("state")); } catch { state = null; }
const code = new URLSearchParams(location.hash.slice(1)).get("pair");
countPhotos().then(() => (code ? tryPair(code) : poll())).then(send);
setInterval(() => { poll(); if (waiting().length || waitingPhotos.some((photo) => !photo.refused)) send(); }, POLL);
