// Fifty devices at once: each answers its own questions, some answers are sent twice, some wait for nothing. No
// confirmed answer may be missing at the end. Arguments: address, seconds.
import assert from "node:assert/strict";

const [address, seconds] = process.argv.slice(2);
const CLIENTS = 50;
const host = address.replace(/\/$/, "");
const headers = { "content-type": "application/json", "x-underlid": "1", origin: host };
const get = async () => (await fetch(`${host}/api/state?since=`)).json();
const first = await get();
// The video of the inspection is a text alone. One note for each question that has a value: notes are free text, and every one tells who wrote it.
const keys = first.questions.filter((one) => !one.open && one.kind !== "adds" && one.now !== "absent" && one.key !== "pack-video").map((one) => one.key);
assert.ok(keys.length >= CLIENTS, `${keys.length} questions`);
const end = Date.now() + Number(seconds) * 1000;
const confirmed = new Map();
let answers = 0;
let twice = 0;
let later = 0;
let slowest = 0;
async function client(number) {
  const own = keys.filter((_, index) => index % CLIENTS === number);
  for (let turn = 0; Date.now() < end; turn += 1) {
    const key = own[turn % own.length];
    const note = `client ${number} turn ${turn}`;
    const body = JSON.stringify({ id: `c${number}-${turn}`, record: first.record, do: "answer", key, note });
    const post = () => fetch(`${host}/api/op`, { method: "POST", headers, body });
    const started = performance.now();
    const responses = turn % 5 === 0 ? await Promise.all([post(), post()]) : [await post()];
    slowest = Math.max(slowest, performance.now() - started);
    if (responses.length === 2) twice += 1;
    if (responses.some((response) => !response.ok)) { later += 1; continue; }
    const results = await Promise.all(responses.map((response) => response.json()));
    for (const result of results) assert.equal(result.status, "saved", JSON.stringify(result));
    confirmed.set(key, note);
    answers += 1;
    if (turn % 3 === 0) await (await fetch(`${host}/api/state?since=`)).arrayBuffer();
  }
}
await Promise.all(Array.from({ length: CLIENTS }, (_, number) => client(number)));
const last = await get();
for (const [key, note] of confirmed) {
  const one = last.questions.find((one) => one.key === key);
  assert.equal(one.note, note, key);
}
console.log(`load: ${CLIENTS} clients for ${seconds} s, ${answers} answers confirmed (${twice} sent twice, ${later} told to come later), none lost; slowest ${Math.round(slowest)} ms`);
