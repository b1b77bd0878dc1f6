// What this phone has not sent yet. Each entry lies in memory and, where the phone has room, in its storage under a name
// of its own, with who made it: nobody else sends it, and after a week it is gone.
const EXPIRES = 7 * 24 * 60 * 60 * 1000;
const NAME = /^range-day-(\d+) /;
const EARLIER = /^range-day-(\d+)$/; // an earlier version kept all entries of a day under one name

const nameOf = (day, tap) => `range-day-${day} ${tap.key}${tap.undo ? " undo" : ""}`;

// An entry as it was stored, or null where nobody can make anything of it.
export function readOf(text) {
  try {
    const tap = JSON.parse(text);
    if (typeof tap.key !== "string" || !tap.key) return null;
    return { ...tap, people: Array.isArray(tap.people) ? tap.people : [] };
  } catch {
    return null;
  }
}

export class Keeping {
  constructor(storage, owner, now = Date.now) {
    Object.assign(this, { storage, owner, now });
    this.entries = new Map();
    this.fails = !storage; // whether the phone had no room for something
    this.refresh();
  }

  // Read the storage anew, which other tabs write to as well; what found no room stays in memory.
  refresh() {
    for (const [name, entry] of this.entries) if (entry.stored) this.entries.delete(name);
    for (const name of this.storage ? Object.keys(this.storage) : []) {
      if (EARLIER.test(name)) this.#split(name);
      else if (NAME.test(name)) this.#read(name);
    }
  }

  #read(name) {
    const tap = readOf(this.storage.getItem(name));
    if (tap && this.now() - Date.parse(tap.at) < EXPIRES) this.entries.set(name, { day: Number(NAME.exec(name)[1]), tap, stored: true });
    else this.storage.removeItem(name);
  }

  #split(name) {
    const taps = readAll(this.storage.getItem(name));
    this.storage.removeItem(name);
    for (const tap of taps) this.hold(Number(EARLIER.exec(name)[1]), tap);
  }

  hold(day, tap) {
    const name = nameOf(day, tap);
    let stored = false;
    try {
      this.storage.setItem(name, JSON.stringify(tap));
      stored = true;
    } catch {
      this.fails = true;
    }
    this.entries.set(name, { day, tap, stored });
  }

  drop(day, taps) {
    for (const tap of taps) {
      this.entries.delete(nameOf(day, tap));
      this.storage?.removeItem(nameOf(day, tap));
    }
    if (this.storage && ![...this.entries.values()].some((each) => !each.stored)) this.fails = false;
  }

  // Entries of a day that whoever is signed in made, the earliest first.
  of(day) {
    const mine = [...this.entries.values()].filter((each) => each.day === day && each.tap.owner === this.owner);
    return mine.map((each) => each.tap).sort((one, other) => (one.at < other.at ? -1 : one.at > other.at ? 1 : 0));
  }

  // The days of which entries of whoever is signed in wait.
  days() {
    return [...new Set([...this.entries.values()].filter((each) => each.tap.owner === this.owner).map((each) => each.day))];
  }

  count() {
    return this.days().reduce((sum, day) => sum + this.of(day).length, 0);
  }

  // The names of others whose entries wait here.
  others() {
    const theirs = [...this.entries.values()].filter((each) => each.tap.owner !== this.owner);
    return [...new Set(theirs.map((each) => each.tap.name || "somebody else"))];
  }
}

function readAll(text) {
  try {
    return JSON.parse(text).map((each) => readOf(JSON.stringify(each))).filter(Boolean);
  } catch {
    return [];
  }
}

// This phone's own key, by which the book tells it from others; a phone without room has another one on each page.
export function phoneOf(storage, made) {
  try {
    if (!storage.getItem("range-phone")) storage.setItem("range-phone", made);
    return storage.getItem("range-phone") || made;
  } catch {
    return made;
  }
}

// A phone that keeps nothing for pages has no storage at all, or says so by an error.
export function storageOf(page) {
  try {
    return page.localStorage;
  } catch {
    return null;
  }
}
