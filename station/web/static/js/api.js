// What is asked of the station. Changes carry the room code and fail in one line.

/** The station said no; `status` is that of its answer. */
class Refused extends Error {
  constructor(message, status) {
    super(message);
    this.status = status;
  }
}

async function ask(path, options = {}) {
  let answer;
  try {
    answer = await fetch(path, options);
  } catch {
    throw new Error("the station does not answer");
  }
  const told = await answer.json().catch(() => ({}));
  if (!answer.ok) throw new Refused(told.error ?? `the station answered ${answer.status}`, answer.status);
  return told;
}

function change(method, path, body, code) {
  return ask(path, {
    method,
    headers: { "Content-Type": "application/json", "X-Room-Code": encodeURIComponent(code) },
    body: JSON.stringify(body),
  });
}

const post = (path, body, code) => change("POST", path, body, code);
const put = (path, body, code) => change("PUT", path, body, code);
const part = (text) => encodeURIComponent(text);

export const setReference = (a4Hz, by, code) => put("/api/v1/reference", { a4_hz: a4Hz, by }, code);
export const undoReference = (by, code) => post("/api/v1/reference/undo", { by }, code);
export const references = () => ask("/api/v1/references");

/** `what` says the pitch: {kind: "standard"}, {kind: "typed", a4_hz} and so on. */
export const propose = (what, by, code) => post("/api/v1/proposals", { ...what, by }, code);
export const answerProposal = (id, player, answer, code) =>
  put(`/api/v1/proposals/${part(id)}/answers/${part(player)}`, { answer }, code);
export const withdrawProposal = (id, by, code) => post(`/api/v1/proposals/${part(id)}/withdraw`, { by }, code);

/** `what` is {player} or {line, name}. */
export const startMeasuring = (what, code) => post("/api/v1/measuring", what, code);
export const finishMeasuring = (by, code) => post("/api/v1/measuring/finish", { by }, code);
export const cancelMeasuring = (by, code) => post("/api/v1/measuring/cancel", { by }, code);
export const forgetMeasured = (id, by, code) => post(`/api/v1/measured/${part(id)}/forget`, { by }, code);

export const playTone = (tone, code) => post("/api/v1/tone", tone, code);
export const stopTone = (by, code) => post("/api/v1/tone/stop", { by }, code);
export const setQuiet = (quiet, code) => put("/api/v1/quiet", { quiet }, code);

export const tapsAgain = (player, by, code) => post(`/api/v1/players/${part(player)}/taps/again`, { by }, code);
/** `step` is "remember" or "forget". */
export const compareDamping = (player, step, by, code) => post(`/api/v1/players/${part(player)}/taps/damping`, { step, by }, code);

/** A head pass: begun with {lugs, phase, drum}, then step by step. */
export const beginHead = (player, what, code) => post(`/api/v1/players/${part(player)}/head`, what, code);
export const headStep = (player, step, what, code) => post(`/api/v1/players/${part(player)}/head/${part(step)}`, what, code);
export const bothHeads = (player, what, code) => post(`/api/v1/players/${part(player)}/both-heads`, what, code);
export const drums = () => ask("/api/v1/drums");
export const keepDrum = (what, code) => post("/api/v1/drums/keep", what, code);
export const putDrum = (what, code) => put("/api/v1/drums", what, code);
export const forgetDrum = (what, code) => post("/api/v1/drums/forget", what, code);
export const wayBack = (player, drum) => ask(`/api/v1/drums/back?player=${part(player)}&drum=${part(drum)}`);
export const kit = () => ask("/api/v1/drums/kit");
export const setKitSongs = (songs, code) => put("/api/v1/drums/songs", { songs }, code);

export const songs = () => ask("/api/v1/songs");
/** `what` is {songs} or {csv}, with the revision of the order it is to replace. */
export const readSongs = (what, by, code) => put("/api/v1/songs", { ...what, by }, code);
export const addSong = (song, by, code) => post("/api/v1/songs", { song, by }, code);
export const changeSong = (id, song, by, code) => put(`/api/v1/songs/${part(id)}`, { song, by }, code);
export const moveSong = (id, to, by, code) => post(`/api/v1/songs/${part(id)}/move`, { to, by }, code);
export const removeSong = (id, by, code) => post(`/api/v1/songs/${part(id)}/remove`, { by }, code);
export const undoSongs = (by, code) => post("/api/v1/songs/undo", { by }, code);
/** `which` is {song} for a certain one, or {after}: the one after it. */
export const nextSong = (which, by, code) => post("/api/v1/songs/next", { ...which, by }, code);

const bench = (player, what) => `/api/v1/players/${part(player)}/bench/${what}`;
export const openStrum = (player, by, code) => post(bench(player, "strum"), { by }, code);
/** `what` is {pair, way, hold, by}. */
export const openPair = (player, what, code) => post(bench(player, "pair"), what, code);
export const openSaddle = (player, what, code) => post(bench(player, "saddle"), what, code);
export const dropSaddleNote = (player, by, code) => post(bench(player, "saddle/drop"), { by }, code);
export const openHealth = (player, what, code) => post(bench(player, "health"), what, code);
export const newStrings = (player, by, code) => post(bench(player, "new-strings"), { by }, code);
export const closeBench = (player, by, code) => post(bench(player, "close"), { by }, code);
export const tour = (player) => ask(bench(player, "tour"));
export const gauge = (player, what) => ask(`${bench(player, "gauge")}?${new URLSearchParams(what)}`);
export const keepSet = (player, what, code) => put(bench(player, "set"), what, code);

export const takeTurn = (player, by, code) => post(`/api/v1/players/${part(player)}/turn`, { by }, code);
export const handOn = (player, by, code) => post(`/api/v1/players/${part(player)}/turn/hand-on`, { by }, code);
export const setups = (player) => ask(`/api/v1/players/${part(player)}/setups`);

/** What is known of a player's pegs; `quarters` of a turn are told, 0 for no answer. */
export const pegs = (player) => ask(`/api/v1/players/${part(player)}/pegs`);
export const tellPeg = (player, string, quarters, by, code) => post(`/api/v1/players/${part(player)}/pegs`, { string, quarters, by }, code);
export const askPegs = (player, asks, by, code) => put(`/api/v1/players/${part(player)}/pegs/asks`, { asks, by }, code);
export const forgetPegs = (player, by, code) => post(`/api/v1/players/${part(player)}/pegs/forget`, { by }, code);

export const changePlayer = (id, changes, code) => put(`/api/v1/players/${part(id)}`, changes, code);
export const instruments = () => ask("/api/v1/instruments");
