// What the page asks the program; the browser shows its cookie by itself.
const root = new URL(".", document.baseURI);

/** The address of something of this server. */
export const address = (path) => new URL(path, root).href;

/** Asks; resolves to { ok, status, data } and to status 0 where the program does not answer. */
export async function ask(path, body, options = {}) {
  const request = body === undefined ? {} : {
    method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body), ...options,
  };
  try {
    const response = await fetch(address(path), request);
    const data = await response.json().catch(() => null);
    return { ok: response.ok, status: response.status, data };
  } catch {
    return { ok: false, status: 0, data: null };
  }
}
