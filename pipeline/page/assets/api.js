// Talking to the program on this machine; every fault comes back as a sentence.
const token = document.querySelector("meta[name=token]").content;

export class Fault extends Error {
  constructor(words, status, stale) { super(words); this.status = status; this.stale = stale; }
}

async function answered(promise) {
  let answer;
  try { answer = await promise; } catch {
    throw new Fault("The program does not answer: was it ended in the terminal?", 0, false);
  }
  const kind = answer.headers.get("content-type") || "";
  const body = kind.startsWith("application/json") ? await answer.json() : await answer.text();
  if (!answer.ok) throw new Fault(body.error || body || `Error ${answer.status}.`, answer.status, Boolean(body.stale));
  return body;
}

export const get = (path) => answered(fetch(path, { headers: { accept: "application/json" } }));
export const post = (path, body = {}) => answered(fetch(path, {
  method: "POST", body: JSON.stringify(body),
  headers: { "content-type": "application/json", "x-liltwright-token": token },
}));

// A file goes up with word of how far it is; returns the task.
export function send(path, blob, progress) {
  return new Promise((done, failed) => {
    const request = new XMLHttpRequest();
    request.open("POST", path);
    request.setRequestHeader("x-liltwright-token", token);
    request.upload.onprogress = (event) => { if (event.lengthComputable) progress(event.loaded / event.total); };
    request.onerror = () => failed(new Fault("The file could not be sent: does the program still run?", 0, false));
    request.onload = () => {
      let body = {};
      try { body = JSON.parse(request.responseText); } catch { body = { error: request.responseText }; }
      if (request.status < 300) done(body);
      else failed(new Fault(body.error || "The file was refused.", request.status, false));
    };
    request.send(blob);
  });
}

// Wait for a task; `told` hears of every step.
export async function finished(task, told) {
  for (let now = task; ; now = await get(`/api/tasks/${task.id}`)) {
    told(now);
    if (now.done) {
      if (now.error) throw new Fault(now.error, 0, false);
      return now;
    }
    await new Promise((go) => setTimeout(go, 200));
  }
}
