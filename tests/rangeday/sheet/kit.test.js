import assert from "node:assert/strict";
import { test } from "node:test";
import { inside, kitOf, leadsTo, refusals, suits } from "../sheet/kit.js";

const kit = kitOf([
  [1, "B07", "Bow", "66 inch", 0, ""],
  [2, "B12", "Bow", "66 inch", 0, ""],
  [3, "B120", "Bow", "70 inch", 0, ""],
  [4, "G12", "Arm guard", "", 0, "since 3 Sep: torn"],
  [5, "T1", "Finger tab", "left", 0, ""],
]);
const numbers = (pieces) => pieces.map(({ number }) => number);
const out = new Map([[2, { who: "Ann" }]]);

test("digits alone find a number, with and without its zero, the very number first", () => {
  assert.deepEqual(numbers(inside(kit, new Map(), "12")), ["B12", "B120"]);
  assert.deepEqual(numbers(inside(kit, new Map(), "120")), ["B120"]);
  assert.deepEqual(numbers(inside(kit, new Map(), "7")), ["B07"]);
  assert.deepEqual(numbers(inside(kit, new Map(), "07")), ["B07"]);
  assert.deepEqual(numbers(inside(kit, new Map(), "b0")), ["B07"]);
  assert.ok(leadsTo(kit.get(5), "finger"));
  assert.deepEqual(inside(kit, new Map(), "99"), []);
});

test("a refusal says with whom a piece is out, or since when it is unsafe", () => {
  assert.deepEqual(refusals(kit, out, "12"), ["Bow B12 is out with Ann.", "Arm guard G12 is unsafe since 3 Sep: torn."]);
  assert.deepEqual(refusals(kit, out, ""), []);
  assert.deepEqual(refusals(kit, out, "7"), []);
});

test("what suits somebody is what they had, or else another of its kind and size", () => {
  assert.deepEqual(numbers(suits([2, 5], kit, new Map())), ["B12", "T1"]);
  assert.deepEqual(numbers(suits([2, 5], kit, out)), ["B07", "T1"]);
  assert.deepEqual(numbers(suits([4, 99], kit, out)), []);
  assert.deepEqual(numbers(suits([3], kit, new Map([[3, { who: "Ann" }]]))), []);
});

test("a bow near the one they had is of its hand and size and not much heavier, the lighter before the heavier", () => {
  const bow = (id, hand, pounds, size = "66 inch") => [id, `B${id}`, "Bow", `${size}, ${pounds} pounds`, 0, "", size, hand, pounds];
  const bows = kitOf([bow(1, "right", 18), bow(2, "left", 18), bow(3, "right", 20), bow(4, "right", 16), bow(5, "right", 24), bow(6, "right", 18, "62 inch"), [7, "B7", "Bow", "66 inch", 0, "", "66 inch", "right", 0]]);
  const gone = new Map([[1, { who: "Ann" }]]);
  assert.deepEqual(numbers(suits([1], bows, new Map())), ["B1"]);
  assert.deepEqual(numbers(suits([1], bows, gone)), ["B4", "B3"]);
  assert.deepEqual(numbers(suits([1], bows, new Map([...gone, [3, {}], [4, {}]]))), ["B6"]);
  assert.deepEqual(numbers(suits([2], bows, new Map([[2, {}]]))), []);
});
