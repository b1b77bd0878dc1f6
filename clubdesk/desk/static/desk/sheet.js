"use strict";
// The sheet of a range day. Each tap is kept on the phone, an entry of its own, until the book has answered it. It is
// whose it was made by: nobody else sends it, and after a week nobody does.
(() => {
  const read = (id) => JSON.parse(document.getElementById(id).textContent);
  const told = read("told");
  const people = new Map(read("roll").map(([id, name, home, tariff, notes]) => [id, { id, name, home, tariff, notes }]));
  const kit = new Map(read("kit").map(([id, number, kind, words, due]) => [id, { id, number, name: `${kind} ${number}`, words: due ? `${words}, due for a check` : words, due }]));
  const by = (id) => document.getElementById(id);
  const shelf = `range-day-${told.day}`;
  const UNDO = 10 * 60 * 1000;
  const EXPIRES = 7 * 24 * 60 * 60 * 1000;
  let signed = told.signed;
  let mark = told.mark; // by which the book knows what this phone has
  let out = told.out;
  let lending = null; // who is being given kit
  let open = null; // whose ways of paying are shown
  let along = new Set(); // who of the family signs on with them
  let sending = false;
  let refusal = "";
  let trouble = ""; // why the book cannot take what waits
  let closed = false;

  const place = (tap) => `${shelf} ${tap.key}${tap.undo ? " undo" : ""}`;
  const save = (tap) => localStorage.setItem(place(tap), JSON.stringify(tap));
  const forget = (tap) => localStorage.removeItem(place(tap));

  // An earlier version kept all taps of a day in one entry.
  const earlier = localStorage.getItem(shelf);
  if (earlier) {
    JSON.parse(earlier).forEach(save);
    localStorage.removeItem(shelf);
  }

  function everybodys() {
    const names = Object.keys(localStorage).filter((name) => name.startsWith(`${shelf} `));
    return names.map((name) => JSON.parse(localStorage.getItem(name)));
  }

  function stored() {
    return everybodys().filter((tap) => tap.owner === told.owner).sort((a, b) => (a.at < b.at ? -1 : a.at > b.at ? 1 : 0));
  }
  everybodys().filter((tap) => !(Date.now() - Date.parse(tap.at) < EXPIRES)).forEach(forget);
  let kept = stored();
  const cents = (text) => Math.round(Number(text) * 100);
  const money = (figure) => told.sign + (figure / 100).toFixed(2);
  const inCash = (figure) => Math.round(figure / 5) * 5;
  const tariffs = { h: "hire", b: "beside", v: "visitor" };
  const member = (person) => person.tariff !== "v";
  const price = (person) => told.prices[tariffs[person.tariff]];

  function keep(tap) {
    hold({ key: crypto.randomUUID ? crypto.randomUUID() : made(), owner: told.owner, name: told.name, at: new Date().toISOString(), ...tap });
    open = null;
    along = new Set();
    by("find").value = "";
    draw();
    send();
  }

  function hold(tap) {
    kept.push(tap);
    save(tap);
  }

  function drop(gone) {
    gone.forEach(forget);
    kept = kept.filter((tap) => !gone.includes(tap));
  }

  function made() {
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    bytes[6] = (bytes[6] & 0x0f) | 0x40;
    bytes[8] = (bytes[8] & 0x3f) | 0x80;
    const hex = [...bytes].map((each) => each.toString(16).padStart(2, "0")).join("");
    return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
  }

  const nameOf = (id) => (people.get(id) || {}).name || "somebody";

  // What the phone shows: who has signed on by the book, and by the taps that wait.
  function standing() {
    const undone = new Set(kept.filter((tap) => tap.undo).map((tap) => tap.key));
    const rows = signed.filter(([, , , key]) => !undone.has(key)).map(([id, visitor, words, key, own, row]) => ({ id, name: visitor || nameOf(id), words, key, own, row, waits: false }));
    const there = new Set(rows.map((row) => row.key).filter(Boolean));
    for (const tap of kept) {
      if (tap.undo || tap.act || undone.has(tap.key) || there.has(tap.key)) continue;
      const names = tap.people.length ? tap.people.map((id) => [id, nameOf(id)]) : [[null, tap.visitor_name]];
      for (const [id, name] of names) rows.unshift({ id, name, words: tap.words, key: tap.key, waits: true, at: tap.at });
    }
    return rows;
  }

  // Which kit is out: by the book, and by the taps that wait. Each names its holder by a sign-on or by a tap.
  function lent() {
    const found = new Map(out.map(([id, row, who]) => [id, { row, who, people: [] }]));
    for (const tap of kept) {
      if (tap.act === "give") found.set(tap.kit, { holder: tap.holder, who: tap.who, people: tap.people });
      if (tap.act === "back") found.delete(tap.kit);
    }
    return new Map([...found].filter(([id]) => kit.has(id)));
  }

  const holds = (loan, row) => (loan.row && loan.row === row.row) || (loan.holder && loan.holder === row.own) || (loan.holder && loan.holder === row.key && (!loan.people.length || loan.people[0] === row.id));
  const give = (id, row) => keep({ act: "give", kit: id, holder: row.own || row.key, people: row.id ? [row.id] : [], who: row.name });
  const back = (id) => keep({ act: "back", kit: id, people: [] });

  function button(text, act, label) {
    const made = document.createElement("button");
    made.type = "button";
    made.textContent = text;
    if (label) made.setAttribute("aria-label", label);
    made.addEventListener("click", act);
    return made;
  }

  function quiet(made) {
    made.className = "quiet";
    return made;
  }

  function ways(due, act, onAccount) {
    const found = told.ahead ? [] : [["cash", `Cash ${money(inCash(due))}`], ["card", `Card ${money(due)}`]];
    if (onAccount) found.push(["account", `On account ${money(due)}`]);
    return found.map(([paid, text]) => button(text, () => act(paid, text)));
  }

  function row(person) {
    const item = document.createElement("li");
    const who = document.createElement("div");
    who.className = "who";
    const name = document.createElement("strong");
    name.textContent = person.name;
    who.append(name);
    if (person.notes) {
      const notes = document.createElement("small");
      notes.textContent = person.notes;
      who.append(notes);
    }
    const acts = document.createElement("div");
    acts.className = "ways";
    const due = price(person);
    if (open === person.id) acts.append(...paying(person, cents(due)));
    else {
      if (member(person)) acts.append(button("Own gear", () => keep({ people: [person.id], gear: "own", paid: "nothing", words: "own gear" }), `${person.name}: own gear`));
      if (due === null) acts.append("no price yet");
      else acts.append(button(`${member(person) ? "Hire" : "Visitor"} ${money(cents(due))}`, () => { open = person.id; along = new Set(); draw(); }, `${person.name}: ${member(person) ? "hire" : "visitor"} ${money(cents(due))}`));
    }
    item.append(who, acts);
    return item;
  }

  function paying(person, due) {
    const there = new Set(standing().map((each) => each.id));
    const family = [...people.values()].filter((each) => each.home === person.home && each.id !== person.id && !there.has(each.id));
    const ticks = family.map((each) => {
      const label = document.createElement("label");
      label.className = "tick";
      const tick = document.createElement("input");
      tick.type = "checkbox";
      tick.checked = along.has(each.id);
      tick.addEventListener("change", () => { if (tick.checked) along.add(each.id); else along.delete(each.id); draw(); });
      const words = document.createElement("span");
      words.textContent = `with ${each.name}`;
      label.append(tick, words);
      return label;
    });
    const together = [person, ...family.filter((each) => along.has(each.id))];
    const total = together.reduce((sum, each) => sum + cents(price(each)), 0);
    const act = (paid, text) => keep({ people: together.map((each) => each.id), gear: "hire", paid, words: `club gear, ${text.toLowerCase()}` });
    return [...ticks, ...ways(total || due, act, true), quiet(button("Not now", () => { open = null; draw(); }))];
  }

  function draw() {
    if (closed) return;
    const rows = standing();
    const there = new Set(rows.map((each) => each.id));
    const letters = by("find").value.trim().toLowerCase();
    const found = [...people.values()].filter((each) => !there.has(each.id) && each.name.toLowerCase().split(" ").concat(each.name.toLowerCase()).some((part) => part.startsWith(letters)));
    const shown = letters ? found.slice(0, 30) : found.filter((each) => each.tariff === "h").slice(0, 8);
    const loans = lent();
    const pieces = letters ? [...kit.values()].filter((each) => each.number.toLowerCase().startsWith(letters) && loans.has(each.id)) : [];
    const more = (letters ? found.length : found.filter((each) => each.tariff === "h").length) - shown.length;
    by("more").textContent = more > 0 ? `${more} more: type a few letters of the name.` : "";
    by("found").replaceChildren(...pieces.map((each) => piece(each, loans.get(each.id))), ...shown.map(row));
    by("count").textContent = `Signed on: ${rows.length}`;
    by("signed").replaceChildren(...rows.map((each) => line(each, loans)));
    by("kit-out").hidden = loans.size === 0;
    by("out-count").textContent = `Kit still out: ${loans.size}`;
    by("out").replaceChildren(...[...loans].map(([id, loan]) => piece(kit.get(id), loan)));
    choose(loans);
    const count = kept.length;
    by("waits").textContent = count === 0 ? "All is sent." : `${count} ${count === 1 ? "tap waits" : "taps wait"} to be sent.`;
    by("waits").classList.toggle("some", count > 0);
    const asks = [refusal, trouble && `${trouble} What waits is kept on this phone.`].filter(Boolean).join(" ");
    by("asks").hidden = !asks;
    by("asks").textContent = asks;
  }

  function piece(each, loan) {
    const item = document.createElement("li");
    item.append(words(each.name, `with ${loan.who}`), button("Back", () => back(each.id), `${each.name} back`));
    return item;
  }

  function words(first, second) {
    const box = document.createElement("div");
    box.className = "who";
    box.append(Object.assign(document.createElement("strong"), { textContent: first }), Object.assign(document.createElement("small"), { textContent: second }));
    return box;
  }

  // The kit that is in, for whom it is being chosen.
  function choose(loans) {
    by("lending").hidden = !lending;
    if (!lending) return;
    const letters = by("kit-number").value.trim().toLowerCase();
    const inside = [...kit.values()].filter((each) => !loans.has(each.id) && (each.number.toLowerCase().startsWith(letters) || each.name.toLowerCase().startsWith(letters)));
    by("lending-to").textContent = `Kit for ${lending.name}`;
    by("kit-found").replaceChildren(...inside.slice(0, 12).map((each) => button(each.due ? `${each.number}, check due` : each.number, () => { give(each.id, lending); }, `${each.name} ${each.words}`.trim())));
    if (!inside.length) by("kit-found").textContent = "None of that number is in and fit for use.";
    else if (inside.length > 12) by("kit-found").append(` and ${inside.length - 12} more: type the number.`);
  }

  function line(each, loans) {
    const item = document.createElement("li");
    const who = document.createElement("div");
    who.className = "who";
    const name = document.createElement("strong");
    name.textContent = each.name;
    const words = document.createElement("small");
    const has = [...loans].filter(([, loan]) => holds(loan, each)).map(([id]) => kit.get(id).number);
    words.textContent = [each.waits ? `${each.words}, waits` : each.words, ...has].join(" · ");
    who.append(name, words);
    item.append(who);
    if (kit.size && each.words !== "own gear") item.append(button("Kit", () => { lending = each; by("kit-number").value = ""; draw(); by("lending").scrollIntoView({ block: "center" }); by("kit-number").focus({ preventScroll: true }); }, `Kit for ${each.name}`));
    const mine = times.get(each.key) || (each.at && Date.parse(each.at));
    if (mine && Date.now() - mine < UNDO) item.append(quiet(button("Undo", () => undo(each.key), `Undo ${each.name}`)));
    else if (each.row) {
      const link = Object.assign(document.createElement("a"), { href: told.correct.replace("/0/", `/${each.row}/`), textContent: "Correct" });
      link.setAttribute("aria-label", `Correct ${each.name}`);
      item.append(link);
    }
    return item;
  }

  const times = new Map(); // when this phone made a tap that the book has by now

  function undo(key) {
    const mine = kept.find((tap) => tap.key === key && !tap.undo);
    if (mine && !mine.sent) drop([mine, ...kept.filter((tap) => tap.act === "give" && tap.holder === key)]);
    else hold({ key, owner: told.owner, name: told.name, at: new Date().toISOString(), undo: true });
    draw();
    send();
  }

  async function send() {
    if (sending) return;
    sending = true;
    try {
      const going = kept.slice(0, 100);
      for (const tap of going) { tap.sent = true; save(tap); }
      const asked = going.length
        ? { method: "POST", headers: { "Content-Type": "application/json", "X-CSRFToken": token() }, body: JSON.stringify({ owner: told.owner, taps: going.map(({ sent, words, who, owner, name, ...tap }) => tap) }) }
        : {};
      const answer = await fetch(`${told.send}?have=${mark}`, { credentials: "same-origin", redirect: "error", ...asked, headers: { Accept: "application/json", ...asked.headers } });
      if (answer.status === 403 || answer.status === 400) throw new Error("refused");
      if (!answer.ok) {
        trouble = answer.status === 503 ? "" : await sentenceOf(answer);
        throw new Error("later");
      }
      const said = await answer.json();
      const done = new Map(said.told.map(([key, state, question, undo]) => [`${key}${undo ? " undo" : ""}`, { state, question }]));
      const answered = going.filter((tap) => done.has(`${tap.key}${tap.undo ? " undo" : ""}`));
      for (const tap of answered) if (!tap.undo) times.set(tap.key, Date.parse(tap.at));
      drop(answered);
      signed = said.more ? [...said.signed, ...signed] : said.signed;
      mark = said.mark;
      out = said.out;
      const questions = [...done.values()].filter((each) => each.state === "question").map((each) => each.question);
      refusal = questions.length ? `The coordinator will be asked: ${questions.join(" ")}` : refusal === SIGN_IN ? "" : refusal;
      trouble = said.refused;
      if (said.closed && kept.length === 0) close(said.closed);
    } catch (failure) {
      if (failure.message === "refused") refusal = SIGN_IN;
    } finally {
      sending = false;
      draw();
    }
  }

  // What the book says of its own trouble; nothing where what answers is not the book.
  async function sentenceOf(answer) {
    try {
      return (await answer.json()).sentence || "";
    } catch {
      return "";
    }
  }

  const SIGN_IN = "Sign in again in another tab, then come back here: what waits is kept.";

  // Once the day is counted nothing about anybody stays on the phone.
  function close(why) {
    closed = true;
    stored().forEach(forget);
    people.clear();
    kit.clear();
    signed = [];
    out = [];
    for (const data of ["roll", "told", "kit"]) by(data).remove();
    clearInterval(clock);
    const said = [why, refusal].filter(Boolean).map((textContent) => Object.assign(document.createElement("p"), { textContent }));
    by("content-main").replaceChildren(...said);
  }

  function visitor() {
    const due = told.prices.visitor;
    if (told.ahead) return ["Visitors sign on when the day has come."];
    if (due === null) return ["no price yet"];
    return ways(cents(due), (paid, text) => {
      const name = by("visitor-name").value.trim();
      const child = by("visitor-child").checked;
      const reached = by("visitor-guardian").value.trim() && by("visitor-phone").value.trim();
      const says = !name ? "Type the visitor’s name." : child && !reached ? "For a child, write the guardian’s name and phone." : !by("visitor-agrees").checked ? "Read the safety rules with them, and tick that they agree." : "";
      by("visitor-says").hidden = !says;
      by("visitor-says").textContent = says;
      if (says) return;
      keep({ people: [], visitor_name: name, visitor_guardian: by("visitor-guardian").value, visitor_phone: by("visitor-phone").value, safety: told.safety, gear: "visitor", paid, words: text.toLowerCase() });
      for (const id of ["visitor-name", "visitor-guardian", "visitor-phone"]) by(id).value = "";
      by("visitor-agrees").checked = by("visitor-child").checked = false;
      by("visitor").open = false;
    }, false);
  }

  by("find").addEventListener("input", () => { open = null; draw(); });
  by("kit-number").addEventListener("input", draw);
  by("lending-done").addEventListener("click", () => { lending = null; draw(); });
  by("visitor-ways").append(...visitor());
  function token() {
    const cookie = document.cookie.split("; ").find((each) => each.startsWith("csrftoken="));
    return cookie ? cookie.slice("csrftoken=".length) : by("token").value;
  }

  // Taps of somebody else that were never sent: they send them when they sign in here.
  const theirs = new Set(everybodys().filter((tap) => tap.owner !== told.owner).map((tap) => tap.name || "somebody else"));
  for (const name of theirs) {
    by("waits").after(Object.assign(document.createElement("p"), { className: "waiting some", textContent: `Taps of ${name} wait on this phone: they are sent when ${name} signs in here and opens this sheet. After a week they are gone.` }));
  }

  // Taps of another day that were never sent: their own sheet sends them.
  const others = new Set(Object.keys(localStorage).map((name) => /^range-day-(\d+) /.exec(name)).filter((found) => found && found[1] !== String(told.day)).map((found) => found[1]));
  for (const other of others) {
    const link = Object.assign(document.createElement("a"), { href: told.send.replace(/\d+\/taps\/$/, `${other}/`), textContent: "Taps of another day wait on this phone: open its sheet to send them." });
    by("waits").after(Object.assign(document.createElement("p"), { className: "waiting some" }));
    by("waits").nextElementSibling.append(link);
  }

  addEventListener("storage", () => { kept = stored(); draw(); });
  addEventListener("online", send);
  addEventListener("beforeunload", (event) => { if (kept.length) event.preventDefault(); });
  const leave = by("logout-form");
  if (leave) leave.addEventListener("submit", (event) => {
    if (kept.length && !confirm(`${kept.length} taps were not sent yet. They stay on this phone until you come back. Sign out all the same?`)) event.preventDefault();
  });
  const clock = setInterval(send, 5000);
  if (told.closed && !kept.length) close(told.closed);
  else {
    for (const part of ["finder", "visitor"]) by(part).hidden = Boolean(told.closed);
    draw();
    send();
  }
})();
