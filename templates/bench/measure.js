// Measuring in a photo that holds the scale sheet, the strip or a card: a point is tapped in the whole picture, then exactly in
// the enlarged part. Only points are sent; the program finds the sheet, moves them onto edges and measures.
"use strict";

// Pixels of the photo across the enlarged part.
const ENLARGED = 120;
// What is tapped, at least and at most, and which points lie on one edge.
const TAPS = {
  length: [2, 2, "Tap its two ends."],
  width: [3, 4, "Tap two points on one edge, then one or two on the other edge."],
  diameter: [3, 12, "Tap three points or more on the rim."],
  overlap: [4, 4, "Tap two points on the end of one part, then two on the end of the other."],
};
const CARD = 4;
let measuring = null;

// `sides` holds what was measured of each side of a section; a side may as well be typed.
function measure(one, name) {
  measuring = { key: one.key, seen: one.rev, name, shown: "", points: [], size: null, told: null, turn: 0, timer: 0, sides: one.sides.map(() => null) };
  $("measure-of").textContent = `${one.prompt}${one.of ? ` (${one.of})` : ""}`;
  const choose = (id, names, none) => $(id).replaceChildren(...none.map((words) => make("option", words, { value: "" })), ...names.map((each) => make("option", each)));
  choose("measure-in", one.part_photos, []);
  choose("measure-second", one.part_photos, ["typed above"]);
  $("measure-in").value = name;
  $("measure-height").value = $("measure-other").value = "";
  for (const side of ["across", "down"]) $(`measure-${side}`).value = localStorage.getItem(`printed:${side}`) ?? "";
  $("measure-sides").replaceChildren(...one.sides.flatMap((side, index) => {
    const field = make("input", null, { id: `measure-side-${index}`, autocomplete: "off" });
    field.value = one.side_values[index] ?? "";
    field.addEventListener("input", () => { measuring.sides[index] = null; showTold(); });
    const take = make("button", `Take as ${side}`, { type: "button", class: "take", on: () => {
      measuring.sides[index] = { ...sent(), side, value: measuring.told.value };
      field.value = measuring.told.value;
      begin(measuring.name);
    } });
    return [make("label", `${side[0].toUpperCase()}${side.slice(1)}: measured, or typed`, { class: "field", for: field.id }), field, take];
  }));
  $("measure-dialog").showModal();
  begin(name);
}

function begin(name) {
  Object.assign(measuring, { name, points: [], size: null, told: null });
  $("measure-title").textContent = `Measure in ${name}`;
  showPoints();
  askLength();
}

const byCard = () => $("measure-by").value === "card";
const second = () => (byCard() ? "" : $("measure-second").value);
const current = () => measuring.points[measuring.points.length - 1];
const exact = () => measuring.points.filter((point) => point.exact).map((point) => point.at);
// Points that come before those of the length: the corners of the card, or a point in both photos for its height.
const leading = () => (byCard() ? CARD : second() ? 2 : 0);
const most = () => TAPS[$("measure-what").value][1] + leading();
// The second photo is shown while its point is tapped.
const inSecond = (index) => Boolean(second()) && index === 1;

function sent() {
  const all = exact();
  const first = all.splice(0, leading());
  const both = second() && first.length === 2;
  return {
    photo: measuring.name, measure: $("measure-what").value, taps: all, card: byCard() ? first : [], height: $("measure-height").value,
    other_height: $("measure-other").value, printed: [$("measure-across").value, $("measure-down").value],
    second: second(), corner: both ? first : [], side: "", value: "",
  };
}

// The last question asked is the one whose answer counts.
function askLength() {
  clearTimeout(measuring.timer);
  measuring.turn += 1;
  if (measuring.told) measuring.told.value = "";
  showTold();
  const turn = measuring.turn;
  const mine = measuring;
  measuring.timer = setTimeout(async () => {
    let told;
    try {
      const answer = await call("/api/measure", { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(sent()), patience: 60000 });
      told = answer.ok ? await answer.json() : { problem: await answer.text(), scale: [], taps: [], value: "", budget: [] };
    } catch { told = { problem: "no connection: the photo is measured by the program, not by this device", scale: [], taps: [], value: "", budget: [] }; }
    if (measuring !== mine || turn !== mine.turn) return;
    measuring.told = told;
    if (told.size) measuring.size = told.size;
    if (told.second_size && told.second_size[0]) measuring.secondSize = told.second_size;
    showTold();
    showPoints();
  }, 150);
}

function showTold() {
  const { told, points, size, sides } = measuring;
  const [least, , words] = TAPS[$("measure-what").value];
  const set = exact().length;
  const both = ["Tap a corner of the part that is sharp in both photos, at the height of the edge.", "Tap the same corner in this second photo."];
  const step = set >= leading() ? words : byCard() ? "Tap the corners of the card where its straight edges would meet, first two along a long side." : both[set];
  const which = points.length && !current().exact ? "Now tap it exactly in the enlarged part." : "";
  $("measure-how").textContent = size ? `${set} of ${leading() + least} points. ${step} ${which}` : "The photo is being looked at.";
  $("measure-value").textContent = told && told.value ? told.value : "";
  $("measure-problem").textContent = told && (set >= leading() || second()) ? told.problem : "";
  $("measure-height").disabled = Boolean(second());
  if (second()) $("measure-height").value = (told && told.height) || "";
  $("measure-scale").replaceChildren(...(told ? told.scale : []).map((line) => make("p", line, { class: "help" })));
  $("measure-budget").replaceChildren(...(told ? told.budget : []).map((line) => make("li", line)));
  $("measure-more").hidden = !(told && told.value);
  for (const button of document.querySelectorAll("#measure-sides .take")) button.disabled = !(told && told.value);
  const whole = wholeValue();
  $("measure-save").textContent = whole ? `Save ${whole}` : "Save";
  $("measure-save").disabled = !whole;
}

// What is saved: the length, or all sides of which at least one was measured.
function wholeValue() {
  const { told, sides } = measuring;
  if (!sides.length) return (told && told.value) || "";
  const typed = sides.map((_, index) => $(`measure-side-${index}`).value.trim());
  return sides.some(Boolean) && typed.every(Boolean) ? typed.join(" x ") : "";
}

// Rings at the points, numbered; the enlarged part shows the last one with its pixels.
function showPoints() {
  const box = $("measure-at");
  for (const old of box.querySelectorAll("span")) old.remove();
  const { points } = measuring;
  // The point at hand decides which photo is shown.
  const other = inSecond(points.length && !current().exact ? points.length - 1 : points.length);
  const name = other ? second() : measuring.name;
  if (measuring.shown !== name) {
    measuring.shown = name;
    $("measure-picture").alt = `the photo ${name}`;
    $("measure-picture").src = `/api/picture?${new URLSearchParams({ name, large: true })}`;
  }
  const size = shownSize();
  $("measure-steps").hidden = !points.length;
  $("measure-near").hidden = !points.length || !measuring.size || inSecond(points.length - 1) !== other;
  if (!size) return;
  points.forEach(({ at: [x, y] }, index) => {
    if (inSecond(index) !== other) return;
    const mark = make("span", String(index + 1));
    mark.style.left = `${((x + 0.5) / size[0]) * 100}%`;
    mark.style.top = `${((y + 0.5) / size[1]) * 100}%`;
    box.append(mark);
  });
  if (!$("measure-near").hidden) enlarge();
}

// Pixels of the photo that is shown.
const shownSize = () => (measuring.shown && measuring.shown !== measuring.name ? measuring.secondSize : measuring.size);

// Left and top pixel of the enlarged part, and pixels of the screen a pixel of the photo.
function near() {
  const { middle } = measuring;
  const size = shownSize();
  const canvas = $("measure-near");
  const high = (ENLARGED * canvas.height) / canvas.width;
  const start = [ENLARGED, high].map((wide, axis) => Math.min(Math.max(middle[axis] - wide / 2, -0.5), Math.max(size[axis] - wide, 0) - 0.5));
  return { start, by: canvas.width / ENLARGED, high };
}

function enlarge() {
  const [canvas, picture] = [$("measure-near"), $("measure-picture")];
  const box = canvas.getBoundingClientRect();
  if (!picture.naturalWidth || !box.width) return;
  canvas.width = Math.round(box.width * devicePixelRatio);
  canvas.height = Math.round(box.height * devicePixelRatio);
  const { start, by, high } = near();
  const pen = canvas.getContext("2d");
  const shrunk = picture.naturalWidth / shownSize()[0];
  pen.imageSmoothingEnabled = false;
  pen.fillRect(0, 0, canvas.width, canvas.height);
  pen.drawImage(picture, (start[0] + 0.5) * shrunk, (start[1] + 0.5) * shrunk, ENLARGED * shrunk, high * shrunk, 0, 0, canvas.width, canvas.height);
  const stroke = (draw) => {
    for (const [colour, wide] of [["#fff", 5], ["#111", 2]]) {
      pen.strokeStyle = colour;
      pen.lineWidth = wide * devicePixelRatio;
      pen.beginPath();
      draw();
      pen.stroke();
    }
  };
  const on = ([x, y]) => [(x - start[0]) * by, (y - start[1]) * by];
  const cross = 14 * devicePixelRatio;
  const other = shownSize() !== measuring.size;
  for (const [index, point] of measuring.points.entries()) {
    if (inSecond(index) !== other) continue;
    const [x, y] = on(point.at);
    if (point.exact || point !== current()) stroke(() => { pen.moveTo(x - cross, y); pen.lineTo(x + cross, y); pen.moveTo(x, y - cross); pen.lineTo(x, y + cross); });
    else stroke(() => pen.arc(x, y, 2 * cross, 0, 7));
  }
  // Where the program took the points to be: on the edges.
  for (const at of (!other && measuring.told && measuring.told.taps) || []) {
    const [x, y] = on(at);
    stroke(() => pen.arc(x, y, cross / 2, 0, 7));
  }
}

function newPoint(at) {
  if (!shownSize()) return;
  if (measuring.points.length && !current().exact) measuring.points.pop();
  if (measuring.points.length >= most()) return;
  measuring.points.push({ at, exact: false });
  measuring.middle = at;
  showPoints();
  showTold();
}

function setExactly(at) {
  const inside = at.map((value, axis) => Math.min(Math.max(value, 0), shownSize()[axis] - 1));
  Object.assign(current(), { at: inside.map((value) => Math.round(value * 10) / 10), exact: true });
  showPoints();
  askLength();
}

// A pixel's middle is a whole number.
function pixelAt(event, box, [wide, high]) {
  const { left, top, width, height } = box.getBoundingClientRect();
  return [((event.clientX - left) / width) * wide - 0.5, ((event.clientY - top) / height) * high - 0.5];
}

$("measure-picture").addEventListener("click", (event) => { if (shownSize()) newPoint(pixelAt(event, $("measure-picture"), shownSize())); });
$("measure-picture").addEventListener("load", () => { if (measuring) showPoints(); });
$("measure-picture").addEventListener("error", () => { $("measure-problem").textContent = "The picture cannot be shown here."; });
$("measure-near").addEventListener("click", (event) => {
  const { start, high } = near();
  const [x, y] = pixelAt(event, $("measure-near"), [ENLARGED, high]);
  setExactly([start[0] + x + 0.5, start[1] + y + 0.5]);
});
$("measure-near").addEventListener("keydown", (event) => {
  const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
  if (!way) return;
  event.preventDefault();
  const far = event.shiftKey ? 20 : 1;
  setExactly(current().at.map((value, axis) => value + far * way[axis]));
  measuring.middle = current().at;
  enlarge();
});
$("measure-new").addEventListener("click", () => { if (shownSize()) newPoint(measuring.points.length ? current().at : shownSize().map((side) => side / 2)); });
$("measure-undo").addEventListener("click", () => {
  measuring.points.pop();
  if (measuring.points.length) measuring.middle = current().at;
  showPoints();
  askLength();
});
for (const id of ["measure-what", "measure-by", "measure-second"]) $(id).addEventListener("change", () => begin(measuring.name));
$("measure-in").addEventListener("change", () => begin($("measure-in").value));
for (const id of ["measure-height", "measure-other"]) $(id).addEventListener("input", askLength);
for (const side of ["across", "down"]) {
  $(`measure-${side}`).addEventListener("input", () => { localStorage.setItem(`printed:${side}`, $(`measure-${side}`).value); askLength(); });
}
$("measure-save").addEventListener("click", () => {
  const { key, seen, name, told, sides } = measuring;
  const points = sides.length ? sides.filter(Boolean) : [{ ...sent(), value: told.value }];
  if (ask({ do: "measure", key, seen, what: name, value: wholeValue(), points })) {
    $("measure-dialog").close();
    answered();
  }
});
