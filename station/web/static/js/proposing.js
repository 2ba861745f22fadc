// Asking the band for another reference, and what became of it, in words.

import { propose, setReference } from "./api.js";
import { withCode } from "./room_code.js";
import { hertz } from "./words.js";

/** "Tove, you and Ilse". */
export function listed(names) {
  if (names.length < 2) return names.join("");
  return `${names.slice(0, -1).join(", ")} and ${names.at(-1)}`;
}

/** "agreed: 441.3 Hz, the roll call starts again". */
export function agreedWords(hz) {
  return `agreed: ${hertz(hz)} Hz, the roll call starts again`;
}

/**
 * Propose a pitch: `what` as the station takes it, `hz` the same in hertz. Gives
 * `{ id, words }` of the proposal, its id null when the band has decided at once, or
 * null when no room code was given. On a screen with nobody there to agree it is set.
 */
export async function proposeIt(state, what, hz) {
  const { present } = state.room.agreement;
  if (!state.me && present.length === 0) {
    const set = await withCode((code) => setReference(hz, state.by, code));
    return set && { id: null, words: "" };
  }
  const told = await withCode((code) => propose(what, state.by, code));
  if (told === null) return null;
  if (told.adopted || !told.proposal) return { id: null, words: "" };
  const waiting = state.named(told.proposal.waiting_for);
  const words = waiting.length ? `proposed: waiting for ${listed(waiting)}` : "proposed: waiting for the band";
  return { id: told.proposal.id, words };
}
