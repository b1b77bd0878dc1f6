// What stands on the page is made to be what it should: nodes are kept by their keys, so that neither focus nor a press
// is lost, and nothing moves under a finger.
const STILL = 400; // milliseconds after a tap in which nothing moves
const PRESSED = "button, a, input, summary";
const SLIP = 10; // pixels by which a finger that taps may slide

const keys = new WeakMap();

// An element as it should be: its tag, what it has, and its text or its parts. `key` tells it from those beside it.
export const el = (tag, has = {}, parts = []) => ({ tag, has, parts });
export const button = (text, act, has = {}) => el("button", { type: "button", text, act, key: text, ...has });

// Make the parts of a node be these, and leave the focus where it was.
export function fill(parent, parts) {
  const focused = document.activeElement;
  place(parent, parts.filter(Boolean));
  if (focused && focused !== document.activeElement && focused.isConnected) focused.focus({ preventScroll: true });
}

function place(parent, parts) {
  const had = new Map([...parent.children].map((node) => [keys.get(node), node]));
  const nodes = parts.map((part, number) => {
    const key = `${part.tag} ${part.has.key ?? number}`;
    const node = had.get(key) ?? document.createElement(part.tag);
    had.delete(key);
    keys.set(node, key);
    dress(node, part);
    return node;
  });
  for (const node of had.values()) node.remove();
  nodes.forEach((node, number) => {
    if (parent.children[number] !== node) parent.insertBefore(node, parent.children[number] ?? null);
  });
}

function dress(node, { has, parts }) {
  const { key, text, act, checked, ...attributes } = has;
  for (const { name } of [...node.attributes]) if (!(name in attributes)) node.removeAttribute(name);
  for (const [name, value] of Object.entries(attributes)) if (node.getAttribute(name) !== String(value)) node.setAttribute(name, value);
  if (checked !== undefined) node.checked = checked;
  node.onclick = act ?? null;
  if (text === undefined) place(node, parts.filter(Boolean));
  else say(node, text);
}

// Text is only written where it is another: whoever listens to the page hears each once.
export function say(node, text) {
  if (node.textContent !== text) node.textContent = text;
}

// Whether a finger is down, or was until just now; what is to be drawn waits until then.
export class Stillness {
  constructor(page, draw) {
    Object.assign(this, { draw, down: new Set(), until: 0, waits: null, pressed: null, acted: { on: null, at: 0 } });
    page.addEventListener("pointerdown", (event) => this.#press(event), true);
    for (const kind of ["pointerup", "pointercancel"]) page.addEventListener(kind, (event) => this.#lift(event), true);
    page.addEventListener("pointermove", (event) => { if (!event.buttons) this.#lift(event); }, true);
    page.addEventListener("click", (event) => this.#click(event), true);
    page.addEventListener("visibilitychange", () => this.#release());
  }

  // Draw now, or as soon as nobody's finger is on the page.
  ask() {
    clearTimeout(this.waits);
    const left = this.until - performance.now();
    if (this.down.size) return;
    if (left > 0) this.waits = setTimeout(() => this.ask(), left);
    else this.draw();
  }

  get isStill() {
    return this.down.size > 0 || performance.now() < this.until;
  }

  #press(event) {
    this.down.add(event.pointerId);
    this.pressed = { on: event.target.closest(PRESSED), x: event.clientX, y: event.clientY };
  }

  #lift(event) {
    if (!this.down.delete(event.pointerId)) return;
    this.until = performance.now() + STILL;
    this.ask();
  }

  #release() {
    this.down.clear();
    this.ask();
  }

  // A tap counts for what it began on, whatever lies under the finger when it is lifted; a second one right after it on
  // the same button counts for nothing.
  #click(event) {
    const on = event.target.closest(PRESSED);
    const began = event.detail > 0 && this.pressed ? this.pressed.on : on;
    if (![on, began].some((each) => each?.matches(".sheet button"))) return;
    const isAgain = event.detail > 0 && began === this.acted.on && performance.now() - this.acted.at < STILL;
    if (began === on && !isAgain) {
      this.acted = { on, at: performance.now() };
      return;
    }
    event.preventDefault();
    event.stopPropagation();
    const { x, y } = this.pressed;
    const slid = Math.abs(event.clientX - x) > SLIP || Math.abs(event.clientY - y) > SLIP;
    if (!isAgain && !slid && began?.isConnected) began.click();
  }
}
