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

export const changePlayer = (id, changes, code) => put(`/api/v1/players/${part(id)}`, changes, code);
export const instruments = () => ask("/api/v1/instruments");
