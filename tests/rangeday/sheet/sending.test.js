import assert from "node:assert/strict";
import { mock, test } from "node:test";
import { LATER, OUT, Sending, TAKEN } from "../sheet/sending.js";
import { Keeping } from "../sheet/storing.js";

const NOW = Date.parse("2026-09-12T09:00:00Z");
const TOLD = { owner: 1, send: "/range/0/taps/", token: "old" };
const tap = (key, more = {}) => ({ key, owner: 1, name: "Tomas", who: "Ann", cents: 700, at: "2026-09-12T08:00:00Z", people: [1], ...more });
const said = (status, body, more = {}) => ({ ok: status === 200, status, json: async () => body, ...more });
const taken = (...told) => said(200, { told, refused: "", token: "fresh" });

// Sends what waits to a book that gives these answers; tells what was asked of it.
function sends(taps, ...answers) {
  return sendsAs(TOLD, taps, ...answers);
}

function sendsAs(told, taps, ...answers) {
  const keeping = new Keeping(null, 1, () => NOW);
  for (const [day, each] of taps) keeping.hold(day, each);
  const asked = [];
  const fetch = async (url, given) => {
    asked.push({ url, ...given, body: given.body && JSON.parse(given.body) });
    const answer = answers.shift();
    if (answer instanceof Error) throw answer;
    return typeof answer === "function" ? answer(given) : answer;
  };
  return { keeping, asked, sending: new Sending(keeping, told, fetch, () => told.now ?? NOW) };
}

test("what waits is sent with the phone's moment and without what only the phone needs, and is gone once answered", async () => {
  const { keeping, asked, sending } = sends([[5, tap("a")]], taken(["a", "done", "", 0]));
  const result = await sending.send(5, "3-x");
  assert.equal(result.state, TAKEN);
  assert.equal(asked[0].url, "/range/5/taps/?have=3-x");
  assert.deepEqual(asked[0].body, { owner: 1, now: "2026-09-12T09:00:00.000Z", taps: [{ key: "a", at: "2026-09-12T08:00:00Z", people: [1] }] });
  assert.equal(keeping.count(), 0);
});

test("what was not answered stays, and is sent again", async () => {
  const { keeping, sending } = sends([[5, tap("a")], [5, tap("b")]], taken(["a", "done", "", 0]), taken(["b", "done", "", 0]));
  await sending.send(5);
  assert.deepEqual(keeping.of(5).map(({ key }) => key), ["b"]);
  await sending.send(5);
  assert.equal(keeping.count(), 0);
});

test("an undo is answered for itself", async () => {
  const { keeping, sending } = sends([[5, tap("a")], [5, tap("a", { undo: true })]], taken(["a", "undone", "", 1]));
  await sending.send(5);
  assert.deepEqual(keeping.of(5).map(({ undo }) => Boolean(undo)), [false]);
});

test("a stale token is followed by the fresh one at once", async () => {
  const { asked, sending } = sends([[5, tap("a")]], said(403, { stale: true, token: "fresh" }), taken(["a", "done", "", 0]));
  assert.equal((await sending.send(5)).state, TAKEN);
  assert.deepEqual(asked.map(({ headers }) => headers["X-CSRFToken"]), ["old", "fresh"]);
});

test("signed out, refused and busy are told apart, and nothing is lost", async () => {
  for (const [answer, state, sentence] of [
    [said(403, { signed_out: true }), OUT, ""],
    [said(0, {}, { type: "opaqueredirect" }), OUT, ""],
    [said(403, { sentence: "You may not." }), LATER, "You may not."],
    [said(503, { sentence: "Busy." }), LATER, ""],
    [said(502, null), LATER, ""],
    [new TypeError("offline"), LATER, ""],
    [said(200, {}), LATER, ""],
  ]) {
    const { keeping, sending } = sends([[5, tap("a")]], answer);
    const result = await sending.send(5);
    assert.deepEqual([result.state, result.sentence, keeping.count()], [state, sentence, 1]);
  }
});

test("what the book cannot read is told, and sent no more", async () => {
  const { keeping, sending } = sends([[5, tap("a")], [5, tap("b")]], taken(["a", "unreadable", "The book cannot read it.", 0], ["b", "done", "", 0]));
  const result = await sending.send(5);
  assert.deepEqual(result.lost.map(({ key }) => key), ["a"]);
  assert.equal(keeping.count(), 0);
});

test("a request that hangs is given up after twenty seconds, and the next one goes", async () => {
  mock.timers.enable({ apis: ["setTimeout"] });
  const hangs = ({ signal }) => new Promise((_, fail) => signal.addEventListener("abort", () => fail(new Error("aborted"))));
  const { sending } = sends([[5, tap("a")]], hangs, taken(["a", "done", "", 0]));
  const first = sending.send(5);
  assert.equal(await sending.send(5), null);
  mock.timers.tick(20_000);
  assert.equal((await first).state, LATER);
  assert.equal((await sending.send(5)).state, TAKEN);
  mock.timers.reset();
});

test("a hundred go at once, and of other days all but the one that is shown", async () => {
  const many = Array.from({ length: 130 }, (_, number) => [5, tap(`k${number}`)]);
  const { asked, sending } = sends([...many, [6, tap("x")], [7, tap("y")]], taken(), taken(["x", "done", "", 0]), taken(["y", "done", "", 0]));
  await sending.send(5);
  assert.equal(asked[0].body.taps.length, 100);
  await sending.sendOthers(5);
  assert.deepEqual(asked.map(({ url }) => url), ["/range/5/taps/?have=", "/range/6/taps/?have=", "/range/7/taps/?have="]);
});

test("where nothing waits the book is only asked how it stands", async () => {
  const { asked, sending } = sends([], taken());
  await sending.send(5);
  assert.equal(asked[0].method, undefined);
});

test("the sheet says each minute which phone it is, and at once where something stays behind", async () => {
  const told = { ...TOLD, day: 5, phone: "p" };
  const many = Array.from({ length: 101 }, (_, number) => [5, tap(`k${number}`, { at: `2026-09-12T08:00:00.${String(number).padStart(3, "0")}Z` })]);
  const first = many.slice(0, 100).map(([, { key }]) => [key, "done", "", 0]);
  const { asked, sending } = sendsAs(told, many, taken(...first), taken(["k100", "done", "", 0]), taken(), taken());
  await sending.send(5);
  await sending.send(5);
  await sending.send(5);
  assert.deepEqual(asked.map(({ body }) => body && [body.taps.length, body.phone, body.unsent]), [[100, "p", 1], [1, "p", 0], undefined]);
  told.now = NOW + 61_000;
  await sending.send(5);
  assert.deepEqual(asked[3].body, { owner: 1, now: "2026-09-12T09:01:01.000Z", taps: [], phone: "p", unsent: 0 });
});
