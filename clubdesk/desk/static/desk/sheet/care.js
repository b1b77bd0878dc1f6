// Whom to ring and what to know of somebody on the range: asked of the book at the moment of the tap, and stored nowhere.
import { el } from "./drawing.js";

export const SHOWN_FOR = 5 * 60 * 1000; // milliseconds after which it leaves the screen by itself
export const NO_RECEPTION = "This needs reception: nothing of it is kept on the phone. Try again, or ask the coordinator.";

// What the book says, or the sentence why it says nothing.
export async function asked(address, fetcher) {
  try {
    const answer = await fetcher(address, { headers: { Accept: "application/json" }, credentials: "same-origin", cache: "no-store", redirect: "error" });
    const said = await answer.json();
    return answer.ok || said.sentence ? said : { sentence: NO_RECEPTION };
  } catch {
    return { sentence: NO_RECEPTION };
  }
}

export const telOf = (phone) => `tel:${phone.replace(/[^0-9+]/g, "")}`;

// The parts of the card, in the order in which they are needed.
export function parts(said) {
  if (said.sentence) return [el("p", { text: said.sentence, key: "sentence", class: "know" })];
  const call = ([name, who, phone]) =>
    el("a", { class: "call", href: telOf(phone), key: `ring ${phone}` }, [el("span", { text: `Ring ${[name, who].filter(Boolean).join(", ")}`, key: "name" }), el("b", { text: phone, key: "phone" })]);
  const know = ([heading, words]) => el("p", { class: "know", key: heading }, [el("strong", { text: heading, key: "heading" }), el("span", { text: ` ${words}`, key: "words" })]);
  const collect = ([name, phone]) => el("p", { key: `collect ${name}` }, [el("span", { text: `May collect: ${name} `, key: "name" }), phone && el("a", { href: telOf(phone), text: phone, key: "phone" })].filter(Boolean));
  const chip = (key, isYes, yes, no, look) => el("span", { class: `chip ${isYes ? "ok" : look}`, text: isYes ? yes : no, key });
  return [
    ...(said.ring.length ? said.ring.map(call) : [el("p", { text: "Nobody can be rung. Tell the coordinator.", key: "nobody", class: "know" })]),
    ...(said.know.length ? said.know.map(know) : [el("p", { text: "No health note.", key: "none" })]),
    ...said.collect.map(collect),
    el("p", { key: "chips", class: "chips" }, [chip("photos", said.photos, "Photos: yes", "No photos", "now"), chip("aid", said.first_aid, "First aid: agreed", "First aid: not agreed to", "")]),
    el("p", { class: "help", text: "That you looked is noted. Nothing of it stays on this phone.", key: "noted" }),
  ];
}
