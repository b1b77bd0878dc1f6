// On the home page: what a range day's sheet left unsent on this phone is sent, and until then it says so.
import { Sending } from "./sending.js";
import { say } from "./drawing.js";
import { Keeping, storageOf } from "./storing.js";

const EVERY = 5000;
const line = document.querySelector("[data-entries]");
const { owner, send, token } = line.dataset;
const keeping = new Keeping(storageOf(window), Number(owner));
const sending = new Sending(keeping, { owner: Number(owner), send, token }, (...asked) => fetch(...asked));
const had = keeping.count();

function draw() {
  const count = keeping.count();
  const mine = count > 0 ? `${count} ${count === 1 ? "entry" : "entries"} of a range day ${count === 1 ? "waits" : "wait"} on this phone to be sent.` : had > 0 ? "All entries of the range day are sent." : "";
  const theirs = keeping.others().map((name) => `Entries of ${name} wait on this phone: ${name} must sign in here.`);
  const words = [mine, ...theirs].filter(Boolean).join(" ");
  line.hidden = !words;
  say(line, words);
}

async function go() {
  if (!keeping.count() || document.hidden) return;
  await sending.sendOthers();
  draw();
}

addEventListener("online", go);
addEventListener("storage", () => { keeping.refresh(); draw(); });
setInterval(go, EVERY);
draw();
go();
