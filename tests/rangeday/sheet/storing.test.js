import assert from "node:assert/strict";
import { test } from "node:test";
import { Keeping, phoneOf, readOf, storageOf } from "../sheet/storing.js";

const NOW = Date.parse("2026-09-12T09:00:00Z");
const at = (days) => new Date(NOW - days * 864e5).toISOString();
const tap = (key, more = {}) => ({ key, owner: 1, name: "Tomas", at: at(0), people: [], ...more });

// A phone's storage, with room for so many entries.
function phone(room = Infinity, entries = {}) {
  const rooms = { ...entries };
  Object.defineProperties(rooms, {
    getItem: { value: (name) => rooms[name] ?? null },
    removeItem: { value: (name) => delete rooms[name] },
    setItem: { value: (name, text) => { if (!(name in rooms) && Object.keys(rooms).length >= room) throw new Error("full"); rooms[name] = text; } },
  });
  return rooms;
}
const keeping = (storage, owner = 1) => new Keeping(storage, owner, () => NOW);

test("what is held is there again after the page is opened anew, by day, the earliest first", () => {
  const storage = phone();
  const first = keeping(storage);
  first.hold(5, tap("b", { at: at(0) }));
  first.hold(5, tap("a", { at: at(1) }));
  first.hold(6, tap("c"));
  first.hold(5, { ...tap("a"), undo: true });
  const again = keeping(storage);
  assert.deepEqual(again.of(5).map(({ key, undo }) => [key, Boolean(undo)]), [["a", false], ["b", false], ["a", true]]);
  assert.deepEqual(again.days(), [5, 6]);
  assert.equal(again.count(), 4);
  again.drop(5, again.of(5));
  assert.deepEqual(Object.keys(storage), ["range-day-6 c"]);
});

test("without room an entry stays in memory until it is sent, and the phone says so until then", () => {
  const full = keeping(phone(1));
  full.hold(5, tap("a"));
  assert.equal(full.fails, false);
  full.hold(5, tap("b", { at: "2026-09-12T09:00:01Z" }));
  assert.equal(full.fails, true);
  full.refresh();
  assert.deepEqual(full.of(5).map(({ key }) => key), ["a", "b"]);
  full.drop(5, [tap("b")]);
  assert.equal(full.fails, false);
});

test("a phone that keeps nothing for pages keeps it in memory", () => {
  const page = Object.defineProperty({}, "localStorage", { get() { throw new Error("no"); } });
  const none = keeping(storageOf(page));
  none.hold(5, tap("a"));
  none.refresh();
  assert.deepEqual([none.count(), none.fails], [1, true]);
  none.drop(5, none.of(5));
  assert.equal(none.count(), 0);
});

test("what nobody can read, and what is a week old, is gone; anything else of the phone stays", () => {
  const storage = phone(Infinity, {
    "range-day-5 a": "{", "range-day-5 b": "3", "range-day-5 c": "null", "range-day-5 d": '{"key": 3}', "range-day-5 e": JSON.stringify(tap("e", { at: at(8) })),
    "range-day-5 f": JSON.stringify(tap("f", { people: 7 })), "range-day-5 g": JSON.stringify(tap("g", { at: "noon" })), other: "{",
  });
  assert.deepEqual(keeping(storage).of(5).map(({ key, people }) => [key, people]), [["f", []]]);
  assert.deepEqual(Object.keys(storage), ["range-day-5 f", "other"]);
  assert.equal(readOf("[]"), null);
});

test("entries of an earlier version, all of a day under one name, are kept one by one", () => {
  const storage = phone(Infinity, { "range-day-5": JSON.stringify([tap("a"), 3, tap("b")]), "range-day-6": "{" });
  assert.deepEqual(keeping(storage).of(5).map(({ key }) => key), ["a", "b"]);
  assert.deepEqual(Object.keys(storage), ["range-day-5 a", "range-day-5 b"]);
});

test("entries of others are named and left alone", () => {
  const shared = keeping(phone());
  shared.hold(5, tap("a", { owner: 2, name: "Ines" }));
  shared.hold(5, tap("b", { owner: 3, name: "" }));
  assert.deepEqual([shared.of(5), shared.days(), shared.count(), shared.others()], [[], [], 0, ["Ines", "somebody else"]]);
});

test("a phone keeps the key that it was made once, and one without room takes the new one", () => {
  const rooms = phone();
  assert.deepEqual([phoneOf(rooms, "a"), phoneOf(rooms, "b")], ["a", "a"]);
  assert.equal(phoneOf(null, "c"), "c");
});
