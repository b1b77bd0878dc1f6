// The club's numbered kit: found by its number, why a piece cannot be given out, and what suits somebody.
export const kitOf = (rows) => new Map(rows.map(([id, number, kind, words, due, unsafe]) => [id, { id, number, name: `${kind} ${number}`, kind, words, due, unsafe }]));

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

// What suits somebody: the pieces they had last, or where one is not there, another of its kind and size.
export function suits(had, kit, loans) {
  const free = (piece) => piece && !loans.has(piece.id) && !piece.unsafe;
  const proposed = [];
  for (const piece of had.map((id) => kit.get(id)).filter(Boolean)) {
    const like = [...kit.values()].find((each) => each.kind === piece.kind && each.words === piece.words && free(each) && !proposed.includes(each));
    const found = free(piece) ? piece : like;
    if (found && !proposed.includes(found)) proposed.push(found);
  }
  return proposed;
}
