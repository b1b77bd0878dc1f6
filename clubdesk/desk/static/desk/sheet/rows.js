// The rows of the sheet, as they should stand. `at` is how things are: `people`, `kit`, `told`, who is `there` (ids),
// which `loans` there are, who is `open` and who signs on `along`; `acts` is what buttons do.
import { button, el } from "./drawing.js";
import { besideWhom, holds, inCash, MARKS, isMember, familyOf } from "./state.js";

const chip = ({ words, look }) => el("span", { class: `chip ${look}`, text: words, key: words });

function who(name, small, chips = "", leads = null) {
  const marks = [...chips].map((mark) => chip(MARKS[mark]));
  const second = small || marks.length ? [el("small", {}, [small && el("span", { text: small, key: "words" }), ...marks])] : [];
  return el("div", { class: "who", key: "who" }, [leads ? el("a", { ...leads, class: "name", key: "name", text: name, "aria-label": `${name}: whom to ring, what to know` }) : el("strong", { text: name }), ...second]);
}

// Somebody who may sign on: one tap with own gear, two with what is paid, two for a family. Whoever is on by now, by
// another phone, keeps the place, so that nothing moves.
export function personRow(person, at, acts) {
  const key = person.id;
  const isOn = at.there.has(person.id);
  if (at.open === person.id && !isOn) return openRow(person, at, acts);
  const due = at.price(person);
  const label = isMember(person) ? "Hire" : "Visitor";
  const family = familyOf(at.people, person, at.there);
  const ways = [
    isMember(person) && button("Own gear", () => acts.signOn([person], "own", "nothing"), { "aria-label": `${person.name}: own gear`, key: "own" }),
    due === null && el("span", { text: "no price yet", key: "none" }),
    due !== null && button(`${label} ${at.money(due)}`, () => acts.open(person, []), { "aria-label": `${person.name}: ${label.toLowerCase()} ${at.money(due)}`, key: "pays" }),
    due !== null && (family.length > 0) && button("and siblings", () => acts.open(person, family), { class: "quiet", "aria-label": `${person.name} and siblings`, key: "siblings" }),
    isOn && el("span", { class: "there", text: "on the range", key: "there" }),
  ];
  const beside = besideWhom(at.people, person);
  const marks = beside ? person.marks.replace("p", "") : person.marks;
  return el("li", { key, class: isOn ? "row taken" : "row" }, [who(person.name, beside, marks), el("div", { class: "ways", key: "ways" }, ways)]);
}

function openRow(person, at, acts) {
  const family = at.along === null ? [] : familyOf(at.people, person, at.there);
  const together = [person, ...family.filter((each) => at.along.has(each.id))];
  const due = together.reduce((sum, each) => sum + at.price(each), 0);
  const ticks = family.map((each) => tick(each, at.along.has(each.id), acts));
  const own = family.length > 0 && isMember(person) && button("Own gear", () => acts.signOn(together, "own", "nothing"), { key: "own", class: "plain", ...(together.every(isMember) ? {} : { disabled: "" }) });
  const pay = el("div", { class: "pay", role: "group", key: "pay", "aria-label": `How ${person.name} pays ${at.money(due)}` }, [
    own,
    ...ways(due, at, (paid) => acts.signOn(together, "hire", paid, paid === "cash" ? inCash(due) : due), true),
  ]);
  const back = button("Back", () => acts.open(null, []), { class: "bare", "aria-label": `Back from ${person.name}` });
  return el("li", { key: person.id, class: "row open" }, [el("div", { class: "top", key: "top" }, [who(person.name, `${at.money(due)} to take`, person.marks), back]), ...ticks, pay]);
}

function tick(each, checked, acts) {
  const box = el("input", { type: "checkbox", key: "box", checked, act: (event) => acts.along(each, event.target.checked) });
  return el("label", { class: "tick", key: `with ${each.id}` }, [box, el("span", { text: `with ${each.name}`, key: "words" })]);
}

// A button for each way of paying; before the day nothing is taken.
export function ways(due, at, act, onAccount) {
  const way = (paid, text) => button(text, () => act(paid), { key: paid, class: paid === "account" ? "plain" : "" });
  const taken = at.told.ahead ? [] : [way("cash", `Cash ${at.money(inCash(due))}`), way("card", `Card ${at.money(due)}`)];
  return onAccount ? [...taken, way("account", `On account ${at.money(due)}`)] : taken;
}

// Somebody on the range, with the kit they have.
export function signedRow(row, at, acts) {
  const care = row.id && row.row && at.told.care ? { href: at.told.care.replace("/care/0/", `/care/${row.id}/`), act: (event) => acts.care(row, event) } : null;
  const has = [...at.loans].filter(([, loan]) => holds(loan, row)).map(([id]) => at.kit.get(id).number);
  const words = [row.waits ? `${row.words}, waits` : row.words, ...has].join(" · ");
  const kit = at.kit.size > 0 && row.words !== "own gear" && button("Kit", () => acts.lend(row), { class: "quiet", "aria-label": `Kit for ${row.name}` });
  return el("li", { key: `${row.key || row.own} ${row.id ?? row.name}`, class: "row" }, [who(row.name, words, "", care), el("div", { class: "ways", key: "ways" }, [kit, undone(row, at, acts)])]);
}

function undone(row, at, acts) {
  if (acts.mayUndo(row)) return button("Undo", () => acts.undo(row.key), { class: "quiet", "aria-label": `Undo ${row.name}` });
  if (!row.row) return null;
  return el("a", { href: at.told.correct.replace("/0/", `/${row.row}/`), text: "Correct", "aria-label": `Correct ${row.name}`, key: "correct" });
}

// A piece of kit that is out.
export function outRow(piece, loan, acts) {
  return el("li", { key: `kit ${piece.id}`, class: "row" }, [who(piece.name, `with ${loan.who}`), el("div", { class: "ways", key: "ways" }, [button("Back", () => acts.back(piece, loan), { class: "quiet", "aria-label": `${piece.name} back` })])]);
}

// A piece of kit that can be given out.
export function pieceButton(piece, acts) {
  const words = [piece.words, piece.due ? "check due" : ""].filter(Boolean).join(", ");
  const parts = [el("b", { text: piece.number, key: "number" }), words && el("small", { text: words, key: "words" })];
  return el("button", { type: "button", act: () => acts.give(piece), key: piece.id, class: "piece", "aria-label": [piece.name, words].filter(Boolean).join(", ") }, parts);
}
