// Numbers and words as the page says them.

const MINUS = "\u2212";

/** "+3.2", "−14.0": always with a sign, except for nought. */
export function signed(value, digits = 1) {
  const text = Math.abs(value).toFixed(digits);
  if (Number(text) === 0) return text;
  return (value < 0 ? MINUS : "+") + text;
}

/** A standard deviation of cents: two digits where they mean something, and never nought. */
export function uncertainty(cents) {
  return "±" + (cents < 0.095 ? Math.max(cents, 0.01).toFixed(2) : cents.toFixed(1));
}

/** Beats a second with the digits an eye can use. */
export function beats(hz) {
  return hz < 9.95 ? hz.toFixed(1) : hz.toFixed(0);
}

/** "C♯4" for the machine's "C#4"; the b of "Bb3" becomes a flat sign too. */
export function pretty(note) {
  return note.replace("#", "\u266f").replace(/^([A-H])b/, "$1\u266d");
}

/** Hours and minutes of an ISO time, in the phone's own time zone. */
export function clock(iso, withSeconds = false) {
  const at = new Date(iso);
  if (Number.isNaN(at.getTime())) return "";
  const options = { hour: "2-digit", minute: "2-digit", hourCycle: "h23" };
  if (withSeconds) options.second = "2-digit";
  return at.toLocaleTimeString([], options);
}

/** "1 string", "3 strings". */
export function count(number, thing) {
  return `${number} ${thing}${number === 1 ? "" : "s"}`;
}

/** Where one string stands in the roll call, as a sentence's end. */
export function rollWords(string) {
  if (string.roll === "not heard") return "not heard yet";
  if (string.roll === "in") return "in";
  const cents = string.cents === null ? "" : `, ${signed(string.cents)} cents`;
  return `${string.verdict ?? "out"}${cents}`;
}

/** Who set the reference, what it was taken from, and when. */
export function origin(reference) {
  const at = reference.set_at ? clock(reference.set_at) : "";
  const by = reference.by ? `by ${reference.by}` : "";
  const source = reference.source === "settings" ? "from the settings" : reference.source;
  return [[by, at].filter(Boolean).join(", "), source].filter(Boolean);
}

/** Those of the page's addresses that lead another phone here; all where none does. */
export function reachable(addresses) {
  const loopback = ["localhost", "[::1]"];
  const others = addresses.filter((each) => {
    const { hostname } = new URL(each);
    return !loopback.includes(hostname) && !hostname.startsWith("127.");
  });
  return others.length ? others : addresses;
}
