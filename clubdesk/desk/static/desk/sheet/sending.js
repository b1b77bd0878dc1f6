// How what waits on this phone reaches the book: a few at a time, each answered by itself, and again until it was.
const PATIENCE = 20_000; // milliseconds until a request counts as lost
const AT_ONCE = 100;
const BEAT = 60_000; // milliseconds after which the book hears again that this phone is there
const OWN = ["sent", "who", "owner", "name", "cents"]; // what only the phone needs of an entry

export const OUT = "signed out";
export const LATER = "later";
export const TAKEN = "taken";

const bare = (tap) => Object.fromEntries(Object.entries(tap).filter(([name]) => !OWN.includes(name)));
const named = (key, undo) => `${key}${undo ? " undo" : ""}`;

export class Sending {
  // `told` is what the page says: where to send (with 0 for the day), whose entries they are, and the token; of the sheet
  // also its day and this phone's own key.
  constructor(keeping, told, fetch, now = Date.now) {
    Object.assign(this, { keeping, told, fetch, now, token: told.token, busy: false, heard: -Infinity, behind: 0 });
  }

  // Send what waits of a day and ask how it stands. Returns what became of it (TAKEN, OUT, LATER), what the book said,
  // and a sentence where it could not take something; null while an earlier request is under way.
  async send(day, have = "") {
    if (this.busy) return null;
    this.busy = true;
    try {
      const going = this.keeping.of(day).slice(0, AT_ONCE);
      for (const tap of going) if (!tap.sent) this.keeping.hold(day, Object.assign(tap, { sent: true }));
      return this.#judge(day, going, await this.#ask(day, going, have));
    } catch {
      return { state: LATER, sentence: "" };
    } finally {
      this.busy = false;
    }
  }

  // Send what waits of other days.
  async sendOthers(but = null) {
    for (const day of this.keeping.days()) if (day !== but) await this.send(day);
  }

  async #ask(day, going, have) {
    const first = await this.#request(day, going, have);
    return first.said.stale ? this.#request(day, going, have) : first;
  }

  async #request(day, going, have) {
    const stop = new AbortController();
    const timer = setTimeout(() => stop.abort(), PATIENCE);
    try {
      const left = this.keeping.of(day).length - going.length;
      const beat = this.told.phone && day === this.told.day && (left > 0 || this.behind > 0 || this.now() - this.heard >= BEAT);
      const url = `${this.told.send.replace("/0/", `/${day}/`)}?have=${have}`;
      const answer = await this.fetch(url, { credentials: "same-origin", redirect: "manual", signal: stop.signal, ...this.#asked(going, beat ? { phone: this.told.phone, unsent: left } : null) });
      const said = await answer.json().catch(() => ({}));
      if (beat && answer.ok) Object.assign(this, { heard: this.now(), behind: left });
      if (said.token) this.token = said.token;
      return { answer, said };
    } finally {
      clearTimeout(timer);
    }
  }

  #asked(going, beat) {
    const headers = { Accept: "application/json" };
    if (!going.length && !beat) return { headers };
    const body = JSON.stringify({ owner: this.told.owner, now: new Date(this.now()).toISOString(), taps: going.map(bare), ...beat });
    return { method: "POST", headers: { ...headers, "Content-Type": "application/json", "X-CSRFToken": this.token }, body };
  }

  #judge(day, going, { answer, said }) {
    if (said.signed_out || answer.type === "opaqueredirect") return { state: OUT, sentence: "" };
    if (!answer.ok) return { state: LATER, sentence: answer.status === 503 ? "" : said.sentence || "" };
    const done = new Map(said.told.map(([key, state, sentence, undo]) => [named(key, undo), { state, sentence }]));
    const answered = going.filter((tap) => done.has(named(tap.key, tap.undo)));
    this.keeping.drop(day, answered);
    const lost = answered.filter((tap) => done.get(named(tap.key, tap.undo)).state === "unreadable");
    return { state: TAKEN, said, answered, lost, sentence: said.refused };
  }
}
