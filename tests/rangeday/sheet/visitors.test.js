import assert from "node:assert/strict";
import { test } from "node:test";
import { atTheTable, confirming, lacks, waitingOf } from "../sheet/visitors.js";

const waiting = waitingOf([["k1", "Noor Solano", "", "", 3], ["k2", "Mia Solano", "Noor Solano", "08 7010 0101", 3]]);
const keys = (found) => found.map(({ key }) => key);

test("whoever an entry on this phone signs on or sends away waits no more, until that is undone", () => {
  assert.deepEqual(keys(atTheTable(waiting, [])), ["k1", "k2"]);
  assert.deepEqual(keys(atTheTable(waiting, [{ key: "a", visitor: "k1" }, { key: "b", act: "away", visitor: "k2" }])), []);
  assert.deepEqual(keys(atTheTable(waiting, [{ key: "a", visitor: "k1" }, { key: "a", undo: true }])), ["k1", "k2"]);
});

test("what they wrote goes along with the entry that signs them on", () => {
  assert.deepEqual(confirming(waiting[1]), { people: [], visitor: "k2", visitor_name: "Mia Solano", visitor_guardian: "Noor Solano", visitor_phone: "08 7010 0101", safety: 3, gear: "visitor" });
});

test("a form lacks a name, a child's guardian and phone, or the agreement, and says it to whoever fills it in", () => {
  const whole = { name: "Mia", isChild: true, guardian: "Noor", phone: "08", agrees: true };
  assert.equal(lacks(whole, true), "");
  assert.equal(lacks({ ...whole, name: "" }, true), "Write your name.");
  assert.equal(lacks({ ...whole, name: "" }, false), "Type the visitor’s name.");
  assert.equal(lacks({ ...whole, phone: "" }, true), "For a child, write the guardian’s name and phone.");
  assert.equal(lacks({ ...whole, isChild: false, phone: "", guardian: "" }, false), "");
  assert.match(lacks({ ...whole, agrees: false }, true), /^Read the safety rules, and tick/);
  assert.match(lacks({ ...whole, agrees: false }, false), /^Read the safety rules with them/);
});
