// Visitors: who signed on by their own phone and waits at the table, and what the form lacks that is filled in here.
import { button, el } from "./drawing.js";
import { ways } from "./rows.js";

export const waitingOf = (rows) => rows.map(([key, name, guardian, phone, safety]) => ({ key, name, guardian, phone, safety }));

// Those whom no entry on this phone has taken on or sent away yet.
export function atTheTable(waiting, kept) {
  const undone = new Set(kept.filter((tap) => tap.undo).map((tap) => tap.key));
  const seen = new Set(kept.filter((tap) => tap.visitor && !undone.has(tap.key)).map((tap) => tap.visitor));
  return waiting.filter((each) => !seen.has(each.key));
}

// The entry by which a visitor who waits is signed on.
export const confirming = (each) => ({ people: [], visitor: each.key, visitor_name: each.name, visitor_guardian: each.guardian, visitor_phone: each.phone, safety: each.safety, gear: "visitor" });

// Somebody at the table, with what they wrote, and how they pay.
export function tableRow(each, due, at, acts) {
  const words = [each.guardian && `a child, guardian ${each.guardian}`, each.phone].filter(Boolean).join(" · ");
  const pay = due === null ? [el("span", { text: "no price yet", key: "none" })] : ways(due, at, (paid) => acts.confirm(each, paid), false);
  const who = el("div", { class: "who", key: "who" }, [el("strong", { text: each.name, key: "name" }), words && el("small", { text: words, key: "words" })]);
  const away = button("Not here", () => acts.away(each), { class: "bare", "aria-label": `${each.name} is not here` });
  return el("li", { key: each.key, class: "row open" }, [el("div", { class: "top", key: "top" }, [who, away]), el("div", { class: "pay", role: "group", key: "pay", "aria-label": `How ${each.name} pays` }, pay)]);
}

// What the form of a visitor still lacks, in a sentence; blank where nothing does.
export function lacks({ name, isChild, guardian, phone, agrees }, byThemselves) {
  if (!name) return byThemselves ? "Write your name." : "Type the visitor’s name.";
  if (isChild && !(guardian && phone)) return "For a child, write the guardian’s name and phone.";
  if (agrees) return "";
  return byThemselves ? "Read the safety rules, and tick that you agree." : "Read the safety rules with them, and tick that they agree.";
}
