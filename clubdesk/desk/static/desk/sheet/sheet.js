// The sheet of a range day: who is here signs on with a tap or two, also without reception.
import { asked, parts, SHOWN_FOR } from "./care.js";
import { button, el, fill, say, Stillness } from "./drawing.js";
import { inside, kitOf, leadsTo, refusals, suits } from "./kit.js";
import { empty, keep } from "./opening.js";
import { outRow, personRow, pieceButton, signedRow, ways } from "./rows.js";
import { LATER, OUT, Sending, TAKEN } from "./sending.js";
import { cents, found, holds, inCash, inWords, lent, money, PAID, peopleOf, standing, taken, TARIFFS } from "./state.js";
import { Keeping, phoneOf, storageOf } from "./storing.js";
import { atTheTable, confirming, lacks, tableRow, waitingOf } from "./visitors.js";

const by = (id) => document.getElementById(id);
const read = (id) => JSON.parse(by(id).textContent);
const UNDO = 10 * 60 * 1000;
const EVERY = 5000;
const MOST = 30;
const FIRST = 10;

const told = read("told");
const people = peopleOf(read("roll"));
const kit = kitOf(read("kit"));
const keeping = new Keeping(storageOf(window), told.owner);
told.phone = phoneOf(storageOf(window), madeKey());
const sending = new Sending(keeping, told, (...asked) => fetch(...asked));
const still = new Stillness(document, draw);
const book = { signed: told.signed, mark: told.mark, out: told.out, waiting: [], silent: [], asked: [] };
const times = new Map(); // when this phone made an entry that the book has by now
const page = { drawn: null, open: null, along: null, lending: null, listing: null, last: null, caring: null, cares: null, lost: [], trouble: "", isOut: false, isClosed: false, isAnswered: false, isAlone: false };

const price = (person) => (told.prices[TARIFFS[person.tariff]] === null ? null : cents(told.prices[TARIFFS[person.tariff]]));
const inMoney = (figure) => money(told.sign, figure);
const nameOf = (id) => people.get(id)?.name ?? "somebody";
const kept = () => keeping.of(told.day);

// What for and what was paid, as the book says it of one of those who sign on together.
function wordsOf(tap, id) {
  if (tap.gear === "own") return "own gear";
  const person = people.get(id) ?? { tariff: "v" };
  const due = tap.people.length > 1 || tap.paid !== "cash" ? price(person) : inCash(price(person));
  return `${person.tariff === "v" ? "visitor with gear" : "hired gear"}, ${inMoney(due)} ${PAID[tap.paid] ?? tap.paid}`;
}

function now() {
  told.ahead &&= Date.now() < told.begins; // the sheet may have been opened the day before, and stay so without reception
  const rows = standing(book.signed, kept(), nameOf, wordsOf);
  const there = new Set(rows.map((row) => row.id).filter(Boolean));
  return { people, kit, told, rows, there, loans: lent(book.out, kept(), kit), open: page.open, along: page.along, price, money: inMoney };
}

// Acts

function hold(tap) {
  keeping.hold(told.day, { key: madeKey(), owner: told.owner, name: told.name, at: new Date().toISOString(), people: [], ...tap });
}

// The key of an entry; pages without a secure address lack the browser's own.
function madeKey() {
  if (crypto.randomUUID) return crypto.randomUUID();
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((each) => each.toString(16).padStart(2, "0")).join("");
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
}

// What happened last stands at the top at once; the lists follow when no finger is near.
function happened(words, more = {}) {
  page.last = { words, at: Date.now(), ...more };
  drawHead();
  still.ask();
  send();
}

// After it the next name is typed; only where somebody came to the button by keys, or types, does the focus move.
function begin() {
  Object.assign(page, { open: null, along: null, listing: null });
  by("find").value = "";
  if (!document.activeElement?.closest("#find, #kit-number, .tabs")) by("find").focus({ preventScroll: true });
}

const acts = {
  signOn(together, gear, paid, due = 0) {
    const there = now().there;
    if (together.some((each) => there.has(each.id))) return;
    const tap = { key: madeKey(), people: together.map((each) => each.id), gear, paid, cents: due };
    hold(tap);
    begin();
    const what = together.length > 1 && due ? `${inMoney(due)} ${PAID[paid]}` : wordsOf(tap, together[0].id);
    happened(`${inWords(together.map((each) => each.name))} ${together.length > 1 ? "are" : "is"} on: ${what}.`, { key: tap.key });
  },
  open(person, family) {
    page.open = person?.id ?? null;
    page.along = family.length ? new Set(family.filter((each) => each.tariff === person.tariff).map((each) => each.id)) : null;
    still.ask();
  },
  along(each, isAlong) {
    page.along[isAlong ? "add" : "delete"](each.id);
    drawFound(page.drawn); // at once, since it moves nothing: the next tap takes the sum that stands there
  },
  mayUndo(row) {
    const mine = times.get(row.key) ?? (row.at && Date.parse(row.at));
    return Boolean(mine) && Date.now() - mine < UNDO;
  },
  undo(key) {
    const names = now().rows.filter((row) => row.key === key).map((row) => row.name).reverse();
    if (!names.length) return;
    const mine = kept().find((tap) => tap.key === key && !tap.undo);
    if (mine && !mine.sent) keeping.drop(told.day, [mine, ...kept().filter((tap) => tap.act === "give" && tap.holder === key)]);
    else hold({ key, undo: true });
    begin();
    happened(`${inWords(names)} ${names.length > 1 ? "are" : "is"} not on any more.`);
  },
  // Fetched anew at each tap, and gone from the page when it is put away, after some minutes, and when the page is left.
  async care(row, event) {
    if (event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    const address = event.currentTarget.href;
    page.caring = row;
    show("on");
    say(by("care-of"), row.name);
    fill(by("care-told"), [el("p", { text: "Asking the book …", key: "asking" })]);
    by("care").hidden = false;
    by("care").scrollIntoView({ block: "nearest" });
    by("care-done").focus({ preventScroll: true });
    const said = await asked(address, (...given) => fetch(...given));
    if (page.caring !== row || page.isClosed) return;
    fill(by("care-told"), parts(said));
    clearTimeout(page.cares);
    page.cares = setTimeout(forget, SHOWN_FOR);
  },
  confirm(each, paid) {
    if (atTheTable(book.waiting, kept()).some(({ key }) => key === each.key)) visitorIsOn(confirming(each), paid);
  },
  away(each) {
    hold({ act: "away", visitor: each.key, who: each.name });
    begin();
    happened(`${each.name} is not at the table any more.`);
  },
  lend(row) {
    page.lending = row;
    by("kit-number").value = "";
    by("lending").hidden = false;
    by("kit-number").focus();
    still.ask();
  },
  give(piece) {
    if (!page.lending || now().loans.has(piece.id)) return;
    const { key, own, id, name } = page.lending;
    hold({ act: "give", kit: piece.id, holder: own || key, people: id ? [id] : [], who: name });
    by("kit-number").value = "";
    happened(`${piece.name} is with ${name}.`);
  },
  back(piece, loan) {
    if (!now().loans.has(piece.id)) return;
    hold({ act: "back", kit: piece.id });
    begin();
    happened(`${piece.name} is back from ${loan.who}.`);
  },
};

function forget() {
  page.caring = null;
  clearTimeout(page.cares);
  by("care")?.setAttribute("hidden", "");
  by("care-told")?.replaceChildren();
}

// Drawing

// What happened last and how many entries wait: this stands in its place at once, since it moves nothing.
function drawHead() {
  const { last } = page;
  const count = keeping.count();
  say(by("waits"), count === 0 ? "All is sent." : `${count} ${count === 1 ? "entry waits" : "entries wait"} to be sent.`);
  by("waits").classList.toggle("some", count > 0);
  say(by("last"), last?.words ?? "");
  by("undo-last").hidden = !(last?.key && Date.now() - last.at < UNDO);
  by("kit-last").hidden = by("undo-last").hidden || !kit.size || !now().rows.some((row) => row.key === last.key && row.words !== "own gear");
}

function draw() {
  if (page.isClosed) return;
  const at = (page.drawn = now());
  const focused = document.activeElement;
  drawFound(at);
  say(by("count"), `On the range: ${at.rows.length}`);
  fill(by("signed"), at.rows.map((row) => signedRow(row, at, acts)));
  by("kit-out").classList.toggle("none", at.loans.size === 0);
  say(by("out-count"), `Kit out: ${at.loans.size}`);
  fill(by("out"), [...at.loans].map(([id, loan]) => outRow(kit.get(id), loan, acts)));
  fill(by("visitor-ways"), visitorWays());
  drawTable(at);
  drawLending(at);
  drawTaken(at);
  drawHead();
  drawAsks();
  if (!focused.isConnected || focused.closest(".row.taken, [hidden]")) by("find").focus({ preventScroll: true });
}

// The list changes by what is typed or tapped here alone: who signs on elsewhere meanwhile stays where they stood.
function drawFound(at) {
  const letters = by("find").value;
  if (!page.listing) {
    const all = found(people, at.there, letters);
    const shown = all.slice(0, letters ? MOST : FIRST);
    page.listing = { ids: shown.map((each) => each.id), more: all.length - shown.length };
  }
  const pieces = letters ? [...kit.values()].filter((each) => at.loans.has(each.id) && leadsTo(each, letters)) : [];
  const rows = page.listing.ids.map((id) => personRow(people.get(id), at, acts));
  fill(by("found"), [...pieces.map((each) => outRow(each, at.loans.get(each.id), acts)), ...rows]);
  const { more } = page.listing;
  const none = letters && !rows.length && !pieces.length;
  say(by("more"), more > 0 ? `${more} more: type a few letters of the name.` : none ? `Nobody with “${letters}” who is not on yet.` : "");
}

const isSame = (row, other) => (row.key || row.own) === (other.key || other.own) && row.id === other.id;

// The kit that is in, for whom it is being chosen; without letters what suits them.
function drawLending(at) {
  const to = page.lending && at.rows.find((row) => isSame(row, page.lending));
  page.lending = to ?? null;
  by("lending").hidden = !to;
  if (!to) return;
  const letters = by("kit-number").value;
  const held = [...at.loans].filter(([, loan]) => holds(loan, to)).map(([id]) => kit.get(id));
  const had = people.get(to.id)?.had ?? [];
  const proposed = letters ? [] : suits(had, kit, at.loans).filter((each) => !held.some((one) => one.kind === each.kind));
  const all = proposed.length ? proposed : inside(kit, at.loans, letters);
  say(by("lending-to"), `Kit for ${to.name}`);
  const family = at.rows.filter((row) => to.key && row.key === to.key && row !== to && row.words !== "own gear");
  fill(by("lending-family"), family.map((row) => button(row.name, () => acts.lend(row), { class: "quiet", "aria-label": `Kit for ${row.name}` })));
  say(by("lending-has"), held.length ? `Has ${inWords(held.map((each) => each.number))}.` : "");
  fill(by("kit-found"), all.slice(0, 12).map((each) => pieceButton(each, acts)));
  const why = refusals(kit, at.loans, letters);
  const rest = all.length > 12 ? [`${all.length - 12} more: type the number.`] : [];
  const none = !all.length && !why.length ? ["No kit has that number."] : [];
  say(by("kit-why"), [proposed.length ? `${proposed.every((each) => had.includes(each.id)) ? "As they had it last." : "As they had it last, or near it."} For another type its number.` : "", ...why, ...rest, ...none].filter(Boolean).join(" "));
}

// Visitors who signed on by themselves; how many there are stands at the top, where it moves nothing.
function drawTable(at) {
  const waiting = atTheTable(book.waiting, kept());
  by("table").hidden = by("table-jump").hidden = !waiting.length;
  say(by("table-count"), `At the table: ${waiting.length}`);
  say(by("table-jump"), `${waiting.length} at the table`);
  fill(by("table-list"), waiting.map((each) => tableRow(each, price({ tariff: "v" }), at, acts)));
}

function drawTaken(at) {
  const sums = taken(at.rows);
  const line = (words, figure) => el("div", { key: words }, [el("dt", { text: words }), el("dd", { text: inMoney(figure) })]);
  fill(by("sums"), [line("Cash", sums.cash), line("Card", sums.card), line("In all", sums.cash + sums.card), line("On account", sums.account)]);
  say(by("phones"), book.silent.length ? `Not heard of lately: ${book.silent.map(([words]) => words).join("; ")}.` : "");
  say(by("tab-on"), String(at.rows.length));
  say(by("tab-kit"), String(at.loans.size));
  say(by("tab-taken"), inMoney(sums.cash + sums.card));
}

// What somebody must know or do about what was sent, or waits.
function drawAsks() {
  const count = keeping.count();
  const paragraph = (text) => el("p", { text, key: text });
  const parts = [
    ...page.lost.map((each) => paragraph(`Not taken: ${each} Sign on again.`)),
    page.lost.length > 0 && button("I have read it", () => { page.lost = []; still.ask(); }, { class: "quiet" }),
    page.isOut && el("p", { key: "out" }, [el("span", { text: "You are signed out; what you tap is kept on this phone. ", key: "words" }), el("a", { href: told.login, target: "_blank", rel: "opener", text: "Sign in in another tab", key: "link" })]),
    page.isAlone && paragraph(`No reception yet: this sheet is as of ${told.as_of}.`),
    page.trouble && paragraph(`${page.trouble} What waits is kept on this phone.`),
    keeping.fails && count > 0 && paragraph("This phone has no room to keep entries: leave this page open until all is sent."),
    ...book.silent.filter(([, unsent]) => unsent > 0).map(([words]) => paragraph(`Not heard of: ${words}. What it kept is not in the book yet: open the sheet on it before the day is counted.`)),
    book.asked.length > 0 && paragraph(`The coordinator will be asked: ${book.asked.map(([, question]) => question).join(" ")}`),
    ...keeping.others().map((name) => paragraph(`Entries of ${name} wait on this phone: they are sent when ${name} signs in here. After a week they are gone.`)),
  ].filter(Boolean);
  by("asks").hidden = !parts.length;
  fill(by("asks"), parts);
}

// Sending

async function send() {
  const result = await sending.send(told.day, book.mark);
  if (!result) return;
  page.isOut = result.state === OUT;
  if (result.state !== LATER || result.sentence) page.trouble = result.sentence ?? "";
  page.isAlone = result.state === LATER && !page.isAnswered;
  if (result.state === TAKEN) take(result);
  if (page.isClosed) return;
  if (result.state === TAKEN && !page.isAnswered) keep(told).catch(() => {}); // a phone without room opens it with reception alone
  page.isAnswered ||= result.state === TAKEN;
  drawHead();
  still.ask();
  if (result.state === TAKEN && keeping.days().some((day) => day !== told.day)) await sending.sendOthers(told.day);
}

function take({ said, answered, lost }) {
  for (const tap of answered) if (!tap.undo) times.set(tap.key, Date.parse(tap.at));
  for (const tap of lost) page.lost.push(`${inWords(tap.people.map(nameOf)) || tap.visitor_name || "kit"}, ${tap.act ? "kit" : wordsOf(tap, tap.people[0])}.`);
  book.signed = said.more ? [...said.signed, ...book.signed] : said.signed;
  Object.assign(book, { mark: said.mark, out: said.out, waiting: said.waiting ? waitingOf(said.waiting) : book.waiting, silent: said.silent ?? book.silent, asked: said.asked });
  if (said.closed && !kept().length) close(said.closed);
}

// Once the day is counted nothing about anybody stays on the phone.
function close(why) {
  page.isClosed = true;
  keeping.drop(told.day, kept());
  empty();
  people.clear();
  kit.clear();
  Object.assign(book, { signed: [], out: [], waiting: [], silent: [], asked: [] });
  document.body.classList.remove("turned");
  for (const data of ["roll", "told", "kit"]) by(data).remove();
  clearInterval(clock);
  const asked = by("asks").hidden ? "" : by("asks").textContent;
  by("content-main").replaceChildren(...[why, asked].filter(Boolean).map((textContent) => Object.assign(document.createElement("p"), { textContent })));
}

// Visitors

const TYPED = ["visitor-name", "visitor-guardian", "visitor-phone"];

function typed() {
  const [name, guardian, phone] = TYPED.map((id) => by(id).value.trim());
  return { name, guardian, phone, isChild: by("visitor-child").checked, agrees: by("visitor-agrees").checked };
}

// Whether the form has all that it must have; what it lacks stands there.
function isWhole(byThemselves) {
  const lacking = lacks(typed(), byThemselves);
  by("visitor-says").hidden = !lacking;
  say(by("visitor-says"), lacking);
  return !lacking;
}

function signVisitorOn(paid) {
  if (!isWhole(false)) return;
  const { name, guardian, phone } = typed();
  const tap = { people: [], visitor_name: name, visitor_guardian: guardian, visitor_phone: phone, safety: told.safety, gear: "visitor" };
  for (const id of TYPED) by(id).value = "";
  by("visitor-agrees").checked = by("visitor-child").checked = false;
  by("visitor").open = false;
  visitorIsOn(tap, paid);
}

function visitorIsOn(of, paid) {
  const due = price({ tariff: "v" });
  const tap = { key: madeKey(), ...of, paid, cents: paid === "cash" ? inCash(due) : due };
  hold(tap);
  begin();
  happened(`${tap.visitor_name} is on: ${wordsOf(tap, null)}.`, { key: tap.key });
}

// The phone turned round: the form alone, for the visitor; then thanks alone, until the helper has the phone again.
function turn(stage) {
  document.body.classList.toggle("turned", stage !== "");
  document.body.classList.toggle("thanked", stage === "thanks");
  by("visitor").open = true;
  say(by("visitor-words"), stage ? "I have read the safety rules and agree to them" : by("visitor-words").dataset.told);
  by(stage === "form" ? "visitor-name" : stage === "thanks" ? "visitor-return" : "find").focus({ preventScroll: true });
  scrollTo(0, 0);
  if (!stage) by("visitor").scrollIntoView({ block: "nearest" });
}

function visitorWays() {
  const due = price({ tariff: "v" });
  if (told.ahead || due === null) return [el("span", { text: told.ahead ? "Visitors sign on when the day has come." : "no price yet" })];
  return ways(due, { told, money: inMoney }, signVisitorOn, false);
}

by("visitor-turn").addEventListener("click", () => { show("sign"); by("visitor-says").hidden = true; turn("form"); });
by("visitor-done").addEventListener("click", () => { if (isWhole(true)) turn("thanks"); });
by("visitor-return").addEventListener("click", () => turn(""));
by("table-jump").addEventListener("click", () => { show("sign"); by("table").scrollIntoView({ block: "start" }); });

// What the page listens to

function show(tab) {
  by("content-main").dataset.tab = tab;
  for (const each of document.querySelectorAll(".tabs button")) each.setAttribute("aria-pressed", each.dataset.tab === tab);
}

by("find").addEventListener("input", () => { Object.assign(page, { open: null, along: null, listing: null }); show("sign"); still.ask(); });
by("kit-number").addEventListener("input", () => still.ask());
by("care-done").addEventListener("click", () => { forget(); begin(); });
addEventListener("pagehide", forget);
by("lending-done").addEventListener("click", () => { page.lending = null; begin(); still.ask(); });
by("undo-last").addEventListener("click", () => acts.undo(page.last.key));
by("kit-last").addEventListener("click", () => acts.lend(now().rows.filter((row) => row.key === page.last.key).at(-1)));
for (const each of document.querySelectorAll(".tabs button")) each.addEventListener("click", () => show(each.dataset.tab));
// A finger leaves the focus, and with it the phone's keyboard, where the next name is typed.
by("content-main").addEventListener("mousedown", (event) => { if (event.target.closest("button")) event.preventDefault(); });
addEventListener("storage", () => { keeping.refresh(); still.ask(); });
addEventListener("online", send);
document.addEventListener("visibilitychange", () => { if (!document.hidden) send(); });
addEventListener("beforeunload", (event) => { if (kept().length) event.preventDefault(); });
by("logout-form")?.addEventListener("submit", (event) => {
  const count = keeping.count();
  if (count && !confirm(`${count} ${count === 1 ? "entry was" : "entries were"} not sent yet. They stay on this phone until you come back. Sign out all the same?`)) event.preventDefault();
});
const clock = setInterval(() => { if (!document.hidden || kept().length) send(); }, EVERY);
if (told.closed && !kept().length) close(told.closed);
else {
  for (const part of ["finder", "visitor"]) by(part).hidden = Boolean(told.closed);
  draw();
  send();
}
