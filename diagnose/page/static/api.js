// Asks the machine. A cut connection and a refusal are told apart.
export class Cut extends Error {}
export class Refused extends Error {
  constructor(status, says) {
    super(says);
    this.status = status;
  }
}

const PATIENCE = 15000;

export async function ask(path, { body, photo, long } = {}) {
  const headers = { "x-page-token": localStorage.getItem("token") || "" };
  const sent = body !== undefined ? JSON.stringify(body) : photo;
  if (body !== undefined) headers["content-type"] = "application/json";
  let response;
  try {
    response = await fetch(path, { method: sent === undefined ? "GET" : "POST", headers, body: sent, signal: AbortSignal.timeout(long ? 8 * PATIENCE : PATIENCE) });
    if (response.ok) return await response.json();
  } catch (error) {
    throw new Cut(String(error));
  }
  if (response.status >= 500) throw new Cut(String(response.status));
  const told = await response.json().catch(() => ({}));
  throw new Refused(response.status, told.says || `refused (${response.status})`);
}
