// The club's numbered kit: found by its number, why a piece cannot be given out, and what suits somebody.
export const kitOf = (rows) => new Map(rows.map(([id, number, kind, words, due, unsafe, size = "", hand = "", pounds = 0]) => [id, { id, number, name: `${kind} ${number}`, kind, words, due, unsafe, size, hand, pounds }]));

const digitsOf = (text) => text.replace(/\D/g, "").replace(/^0+(?=\d)/, "");

// Whether what was typed leads to a piece: its number from the left, its digits alone, or its kind.
export function leadsTo(piece, typed) {
  const sought = typed.trim().toLowerCase();
  if (/^\d+$/.test(sought)) return piece.number.toLowerCase().startsWith(sought) || digitsOf(piece.number).startsWith(digitsOf(sought));
  return piece.number.toLowerCase().startsWith(sought) || piece.name.toLowerCase().startsWith(sought);
}

const isJust = (piece, typed) => piece.number.toLowerCase() === typed.trim().toLowerCase() || digitsOf(piece.number) === typed.trim();

// The pieces that are in and fit for use, the one with just this number first.
export function inside(kit, loans, typed) {
  const found = [...kit.values()].filter((piece) => !loans.has(piece.id) && !piece.unsafe && leadsTo(piece, typed));
  return found.sort((one, other) => isJust(other, typed) - isJust(one, typed));
}

// Why pieces with this number cannot be given out.
export function refusals(kit, loans, typed) {
  if (!typed.trim()) return [];
  const found = [...kit.values()].filter((piece) => leadsTo(piece, typed) && (loans.has(piece.id) || piece.unsafe));
  const why = (piece) => (loans.has(piece.id) ? `${piece.name} is out with ${loans.get(piece.id).who}.` : `${piece.name} is unsafe ${piece.unsafe}.`);
  return found.sort((one, other) => isJust(other, typed) - isJust(one, typed)).slice(0, 3).map(why);
}

const NEAR = 4; // pounds of draw weight by which a bow may differ from the one that somebody had
const MOST_NEAR = 2;

// How far a piece is from the one that somebody had: never of another hand, rather lighter than heavier, its size first.
// Infinity where it does not suit.
function apart(had, piece) {
  if (piece.kind !== had.kind || piece.hand !== had.hand) return Infinity;
  if (!had.size && !had.pounds && piece.words !== had.words) return Infinity;
  if (!had.pounds !== !piece.pounds) return Infinity;
  const heavier = piece.pounds - had.pounds;
  if (Math.abs(heavier) > NEAR) return Infinity;
  return Math.abs(heavier) * 2 + (heavier > 0 ? 1 : 0) + (piece.size === had.size ? 0 : 100);
}

// What suits somebody: of each kind the piece they had last, or where it is not there the nearest that are.
export function suits(had, kit, loans) {
  const free = (piece) => !loans.has(piece.id) && !piece.unsafe;
  const proposed = new Set();
  for (const piece of had.map((id) => kit.get(id)).filter(Boolean)) {
    const near = [...kit.values()].filter((each) => free(each) && apart(piece, each) < Infinity && !proposed.has(each));
    near.sort((one, other) => apart(piece, one) - apart(piece, other));
    for (const each of free(piece) ? [piece] : near.slice(0, MOST_NEAR)) proposed.add(each);
  }
  return [...proposed];
}
