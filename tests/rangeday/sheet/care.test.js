import assert from "node:assert/strict";
import { test } from "node:test";
import { asked, NO_RECEPTION, parts, telOf } from "../sheet/care.js";

const said = { name: "Ada", ring: [["Odo Quoll", "uncle", "08 7010 0102"]], know: [["Allergies", "bees"]], collect: [["Odo Quoll", ""]], photos: false, first_aid: true };
const texts = (nodes) => nodes.flatMap(({ has, parts }) => [has.text, ...texts(parts.filter(Boolean))]).filter(Boolean);

test("a phone is dialled without what people write between its digits", () => {
  assert.equal(telOf("08 7010 0102"), "tel:0870100102");
  assert.equal(telOf("+61 (8) 7010-0102"), "tel:+61870100102");
});

test("it is asked for as what no browser keeps", async () => {
  const given = [];
  const fetcher = async (...each) => { given.push(each); return { ok: true, json: async () => said }; };
  assert.deepEqual(await asked("/range/1/care/2/", fetcher), said);
  assert.equal(given[0][0], "/range/1/care/2/");
  assert.equal(given[0][1].cache, "no-store");
  assert.equal(given[0][1].method, undefined);
});

test("without reception, and where the site fails, a sentence says so", async () => {
  assert.deepEqual(await asked("/", async () => { throw new TypeError("no reception"); }), { sentence: NO_RECEPTION });
  assert.deepEqual(await asked("/", async () => ({ ok: false, json: async () => ({}) })), { sentence: NO_RECEPTION });
  assert.deepEqual(await asked("/", async () => ({ ok: false, json: async () => ({ sentence: "Sign them on first." }) })), { sentence: "Sign them on first." });
});

test("whom to ring stands first, then what to know, then the photos", () => {
  const told = texts(parts(said));
  assert.deepEqual(told.slice(0, 4), ["Ring Odo Quoll, uncle", "08 7010 0102", "Allergies", " bees"]);
  assert.ok(told.includes("No photos"));
  assert.ok(told.includes("First aid: agreed"));
  assert.equal(parts(said)[0].has.href, "tel:0870100102");
});

test("nobody to ring and no note are said, and a sentence stands alone", () => {
  const told = texts(parts({ ...said, ring: [], know: [], photos: true }));
  for (const each of ["Nobody can be rung. Tell the coordinator.", "No health note.", "Photos: yes"]) assert.ok(told.includes(each), each);
  assert.deepEqual(texts(parts({ sentence: "Not now." })), ["Not now."]);
});
