// What stands by the book and by the entries that wait on this phone; nothing here touches the page.
export const cents = (text) => Math.round(Number(text) * 100);
export const inCash = (figure) => Math.round(figure / 5) * 5;
export const money = (sign, figure) => `${figure < 0 ? "−" : ""}${sign}${(Math.abs(figure) / 100).toFixed(2)}`;

export const TARIFFS = { h: "hire", b: "beside", v: "visitor" };
export const PAID = { cash: "cash", card: "card", account: "on account" };
export const MARKS = {
  n: { words: "new from a course", look: "ok" },
  b: { words: "birthday this week", look: "ok" },
  l: { words: "membership lapsed", look: "now" },
  u: { words: "fee overdue", look: "now" },
  g: { words: "nobody to ring", look: "soon" },
  d: { words: "draw check to do", look: "soon" },
  p: { words: "may shoot beside their child", look: "" },
};

export const peopleOf = (rows) => new Map(rows.map(([id, name, home, tariff, marks, times, had, beside = []]) => [id, { id, name, home, tariff, marks, times, had, beside }]));
export const isMember = (person) => person.tariff !== "v";

const undoneOf = (kept) => new Set(kept.filter((tap) => tap.undo).map((tap) => tap.key));

// A row a person on the range, the latest first: what waits on this phone before what the book has.
export function standing(signed, kept, nameOf, wordsOf) {
  const undone = undoneOf(kept);
  const rows = signed
    .filter(([, , , key]) => !key || !undone.has(key))
    .map(([id, visitor, words, key, own, row, paid, figure]) => ({ id, name: visitor || nameOf(id), words, key, own, row, paid, figure, waits: false }));
  const there = new Set(rows.map((row) => row.key).filter(Boolean));
  for (const tap of kept) {
    if (tap.undo || tap.act || undone.has(tap.key) || there.has(tap.key)) continue;
    rows.unshift(...(tap.people.length ? tap.people : [null]).map((id, number) => waiting(tap, id, number, nameOf, wordsOf)).reverse());
  }
  return rows;
}

function waiting(tap, id, number, nameOf, wordsOf) {
  const figure = number ? 0 : tap.cents || 0; // what a family hands over together stands with its first
  return { id, name: id ? nameOf(id) : tap.visitor_name, words: wordsOf(tap, id), key: tap.key, own: "", row: null, paid: tap.paid, figure, waits: true, at: tap.at };
}

// Which kit is out: by the book, and by the entries that wait. Each names its holder by a sign-on or by an entry.
export function lent(out, kept, kit) {
  const found = new Map(out.map(([id, row, who]) => [id, { row, who, people: [] }]));
  const undone = undoneOf(kept);
  for (const tap of kept) {
    if (undone.has(tap.key)) continue;
    if (tap.act === "give") found.set(tap.kit, { holder: tap.holder, who: tap.who, people: tap.people });
    if (tap.act === "back") found.delete(tap.kit);
  }
  return new Map([...found].filter(([id]) => kit.has(id)));
}

export const holds = (loan, row) =>
  Boolean(loan.row && loan.row === row.row) ||
  Boolean(loan.holder && loan.holder === row.own) ||
  Boolean(loan.holder && loan.holder === row.key && (!loan.people.length || loan.people[0] === row.id));

// Who is shown for some letters: who came most often on days like this one before the others, then by name. A parent who
// may shoot beside a child stands right after the child, and is found by the child's name too.
export function found(people, there, letters) {
  const sought = letters.trim().toLowerCase();
  const names = (person) => [person.name.toLowerCase(), ...person.name.toLowerCase().split(/[ -]/)];
  const isNamed = (person) => names(person).some((part) => part.startsWith(sought));
  const fits = (person) => (sought ? isNamed(person) || person.beside.some((id) => people.has(id) && isNamed(people.get(id))) : person.tariff === "h" || person.times > 0);
  const all = [...people.values()].filter((person) => !there.has(person.id) && fits(person));
  all.sort((one, other) => other.times - one.times);
  const shown = new Set(all.map(({ id }) => id));
  const childOf = (person) => person.beside.find((id) => shown.has(id));
  const parents = all.filter(childOf);
  return all.filter((person) => !childOf(person)).flatMap((person) => [person, ...parents.filter((each) => childOf(each) === person.id)]);
}

// “beside Ann and Ben Mirabar”, of a parent who has done the course.
export const besideWhom = (people, parent) => {
  const names = parent.beside.map((id) => people.get(id)?.name).filter(Boolean);
  return names.length ? `beside ${inWords(names)}` : "";
};

// The others of a family who are not on the range yet.
export const familyOf = (people, person, there) => [...people.values()].filter((each) => each.home === person.home && each.id !== person.id && !there.has(each.id));

// What was handed over today, in cents, by the way it was paid.
export function taken(rows) {
  const sums = { cash: 0, card: 0, account: 0 };
  for (const row of rows) if (row.paid in sums) sums[row.paid] += row.figure;
  return sums;
}

// “Ann, Bela and Cato Mirabar”: the name that all share stands once.
export function inWords(names) {
  const [first = "", ...rest] = names;
  const shared = rest.length ? first.split(" ").at(-1) : "";
  const isShared = shared && names.every((name) => name.endsWith(` ${shared}`));
  const parts = isShared ? names.map((name, number) => (number < rest.length ? name.slice(0, -shared.length - 1) : name)) : names;
  return parts.length < 2 ? first : `${parts.slice(0, -1).join(", ")} and ${parts.at(-1)}`;
}
