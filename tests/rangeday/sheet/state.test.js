import assert from "node:assert/strict";
import { test } from "node:test";
import { besideWhom, cents, familyOf, found, holds, inCash, inWords, lent, money, peopleOf, standing, taken } from "../sheet/state.js";

const people = peopleOf([
  [1, "Ann Mirabar", 10, "h", "", 0, []],
  [2, "Bela Mirabar", 10, "h", "", 5, []],
  [3, "Cato Anden-Lund", 11, "v", "l", 0, []],
]);
const nameOf = (id) => people.get(id)?.name;
const wordsOf = (tap) => tap.gear;
const row = (id, key, more = {}) => Object.values({ id, visitor: "", words: "own gear", key, own: "", row: id, paid: "nothing", figure: 0, ...more });

test("amounts are whole cents, and cash goes in steps of five", () => {
  assert.equal(cents("7.02"), 702);
  assert.equal(cents("0.29"), 29);
  assert.deepEqual([702, 703, 707, 708].map(inCash), [700, 705, 705, 710]);
  assert.equal(money("$", 702), "$7.02");
  assert.equal(money("$", -5), "−$0.05");
});

test("who waits on the phone stands before who is in the book, each once", () => {
  const kept = [
    { key: "a", people: [1], gear: "own" },
    { key: "b", people: [2], gear: "own" },
  ];
  assert.deepEqual(standing([row(1, "a")], kept, nameOf, wordsOf).map(({ id, waits }) => [id, waits]), [[2, true], [1, false]]);
});

test("a family keeps its order when the book answers, and its payment stands once", () => {
  const kept = [{ key: "a", people: [1, 2], gear: "hire", paid: "cash", cents: 1400 }];
  const waiting = standing([], kept, nameOf, wordsOf);
  const answered = standing([row(2, "a", { paid: "cash", figure: 700 }), row(1, "a", { paid: "cash", figure: 700 })], [], nameOf, wordsOf);
  assert.deepEqual(waiting.map(({ id }) => id), answered.map(({ id }) => id));
  assert.deepEqual([waiting, answered].map(taken), [{ cash: 1400, card: 0, account: 0 }, { cash: 1400, card: 0, account: 0 }]);
});

test("who is undone on the phone is not on, whether the book knows it or not", () => {
  const undo = (key) => ({ key, undo: true, people: [] });
  assert.deepEqual(standing([row(1, "a"), row(3, "", { own: "x" })], [undo("a"), { key: "b", people: [2] }, undo("b")], nameOf, wordsOf).map(({ id }) => id), [3]);
});

test("kit goes out and back by what waits, after what the book says", () => {
  const kit = new Map([[7, {}], [8, {}]]);
  const give = { key: "g", act: "give", kit: 8, holder: "a", who: "Ann", people: [1] };
  assert.deepEqual([...lent([[7, 1, "Cato"], [9, 2, "Dara"]], [give, { key: "h", act: "back", kit: 7, people: [] }], kit).keys()], [8]);
  assert.deepEqual([...lent([], [give, { key: "g", undo: true }], kit).keys()], []);
});

test("kit is with whoever signed on by that row, key or entry", () => {
  assert.ok(holds({ row: 4, people: [] }, { row: 4 }));
  assert.ok(holds({ holder: "x", people: [] }, { own: "x" }));
  assert.ok(holds({ holder: "a", people: [2] }, { key: "a", id: 2 }));
  assert.ok(!holds({ holder: "a", people: [2] }, { key: "a", id: 1 }));
  assert.ok(!holds({ row: null, people: [] }, { row: null, own: "", key: "" }));
});

test("who usually comes is first; any part of a name leads to somebody, and visitors only by their letters", () => {
  const ids = (letters, there = []) => found(people, new Set(there), letters).map(({ id }) => id);
  assert.deepEqual(ids(""), [2, 1]);
  assert.deepEqual(ids("mir"), [2, 1]);
  assert.deepEqual(ids("AN"), [1, 3]);
  assert.deepEqual(ids("lund"), [3]);
  assert.deepEqual(ids("ann m", []), [1]);
  assert.deepEqual(ids("mir", [2]), [1]);
  assert.deepEqual(familyOf(people, people.get(1), new Set()).map(({ id }) => id), [2]);
  assert.deepEqual(familyOf(people, people.get(1), new Set([2])), []);
});

test("a name that all share stands once", () => {
  assert.equal(inWords([]), "");
  assert.equal(inWords(["Ann Mirabar"]), "Ann Mirabar");
  assert.equal(inWords(["Ann Mirabar", "Bela Mirabar", "Cato Mirabar"]), "Ann, Bela and Cato Mirabar");
  assert.equal(inWords(["Ann Mirabar", "Cato Lund"]), "Ann Mirabar and Cato Lund");
});

test("a parent who has done the course stands right after the child, by the child's name too", () => {
  const roll = peopleOf([[1, "Ann Mirabar", 10, "h", "", 1, []], [2, "Zoe Quoll", 11, "h", "", 5, []], [3, "Odo Mirabar", 10, "b", "p", 9, [], [1]], [4, "Pia Solano", 12, "b", "p", 0, [], [1, 2]]]);
  const ids = (letters, there = []) => found(roll, new Set(there), letters).map(({ id }) => id);
  assert.deepEqual(ids(""), [2, 1, 3]);
  assert.deepEqual(ids("ann"), [1, 3, 4]);
  assert.deepEqual(ids("zoe"), [2, 4]);
  assert.deepEqual(ids("odo"), [3]);
  assert.deepEqual(ids("mir", [1]), [3, 4]);
  assert.equal(besideWhom(roll, roll.get(4)), "beside Ann Mirabar and Zoe Quoll");
  assert.equal(besideWhom(roll, roll.get(1)), "");
});
