// Changes asked of the station. Each carries the room code and fails in one line.

async function put(path, body, code) {
  let answer;
  try {
    answer = await fetch(path, {
      method: "PUT",
      headers: { "Content-Type": "application/json", "X-Room-Code": encodeURIComponent(code) },
      body: JSON.stringify(body),
    });
  } catch {
    throw new Error("the station does not answer");
  }
  const told = await answer.json().catch(() => ({}));
  if (!answer.ok) throw new Error(told.error ?? `the station answered ${answer.status}`);
  return told;
}

export function setReference(a4Hz, by, code) {
  return put("/api/v1/reference", by ? { a4_hz: a4Hz, by } : { a4_hz: a4Hz }, code);
}

export function changePlayer(id, changes, code) {
  return put(`/api/v1/players/${encodeURIComponent(id)}`, changes, code);
}

export async function instruments() {
  const answer = await fetch("/api/v1/instruments");
  if (!answer.ok) throw new Error("the list of instruments did not arrive");
  return answer.json();
}
