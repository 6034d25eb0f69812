// The way from the page to Python. Both engines have `call(request)` for a lesson and `own(code)` for a pupil's
// controller, and both answer with a table; `refused` in it is a sentence.
"use strict";

const OWN_LIMIT_MS = 3000;
const ENDLESS = "It did not end within 3 s: is there a loop that never ends?";

// To the program that serves this page. The token is in the address that it printed, behind the #.
class HttpEngine {
  constructor(token) { this.token = token; }

  async ready() {
    if (!this.token) { throw new Error("Open the whole address that `treadle lab` printed."); }
  }

  async post(path, request) {
    let answer;
    try {
      answer = await fetch(path, {method: "POST", body: JSON.stringify(request), credentials: "omit",
        headers: {"Content-Type": "application/json", "X-Lab-Token": this.token}});
    } catch {
      return {refused: "The lab does not answer: is `treadle lab` still running?"};
    }
    return answer.json();
  }

  call(request) { return this.post("/call", request); }
  own(code) { return this.post("/own", {code}); }
}

async function unpacked(text) {
  let bytes;
  if (Uint8Array.fromBase64) {
    bytes = Uint8Array.fromBase64(text);
  } else {
    const letters = atob(text);
    bytes = new Uint8Array(letters.length);
    for (let at = 0; at < letters.length; at++) { bytes[at] = letters.charCodeAt(at); }
  }
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("gzip"));
  return new Response(stream).arrayBuffer();
}

// To Python in workers of this page. `files` are packed texts: those of the runtime, the lessons, the snapshot.
class WorkerEngine {
  constructor(files, lock, workerText) {
    this.prepared = this.prepare(files, lock, workerText);
    this.prepared.catch(() => {});
  }

  async prepare(files, lock, workerText) {
    const names = Object.keys(files);
    const contents = await Promise.all(names.map((name) => unpacked(files[name])));
    const part = Object.fromEntries(names.map((name, at) => [name, contents[at]]));
    const text = new TextDecoder();
    // Modules of the runtime become plain scripts, as a blob can't import another file.
    const machine = text.decode(part["pyodide.asm.mjs"])
      .replace(/export default (\w+);?\s*$/, "return $1;").replaceAll("import.meta.url", "self.location.href");
    const loader = text.decode(part["pyodide.mjs"])
      .replace(/export\s*\{\s*([\w$]+) as loadPyodide\b[^}]*\};?/, "self.loadPyodide = $1;");
    const whole = ["self.importScripts = undefined;\n", 'self.createPyodideModule = (() => {"use strict";\n',
      machine, '\n})();\n(() => {"use strict";\n', loader, "\n})();\n", workerText];
    this.address = URL.createObjectURL(new Blob(whole, {type: "text/javascript"}));
    this.start = {wasm: await WebAssembly.compile(part["pyodide.asm.wasm"]), lock,
      files: {"python_stdlib.zip": part["python_stdlib.zip"], "pyodide.asm.wasm": new ArrayBuffer(0)},
      project: part["project.zip"], snapshot: part.snapshot ? new Uint8Array(part.snapshot) : null};
  }

  // Returns a worker whose Python is ready; `entry` is the function of in_page that answers.
  async worker(entry) {
    await this.prepared;
    const worker = new Worker(this.address);
    await this.asked(worker, {start: {...this.start, entry}});
    return worker;
  }

  // Sends a message and returns the answer to it; one message at a time.
  asked(worker, message) {
    return new Promise((resolve, reject) => {
      worker.onerror = (event) => reject(new Error(event.message || "the worker failed"));
      worker.onmessage = ({data}) => (data.failed ? reject(new Error(data.failed)) : resolve(data));
      worker.postMessage(message);
    });
  }

  async ready() { this.main = await this.worker("answered"); }

  async call(request) {
    try {
      return JSON.parse((await this.asked(this.main, {text: JSON.stringify(request)})).text);
    } catch (error) {
      return {refused: `The lesson failed: ${error.message}`};
    }
  }

  // Gets a worker ready that has run nothing yet.
  spare() {
    if (!this.waiting) {
      this.waiting = this.worker("own_answered");
      this.waiting.catch(() => { this.waiting = null; });
    }
    return this.waiting;
  }

  // Every ride has a worker of its own, which ends with it.
  async own(code) {
    let worker, timer;
    try {
      worker = await this.spare();
      this.waiting = null;
      const late = new Promise((resolve) => {
        timer = setTimeout(() => resolve({text: JSON.stringify({refused: ENDLESS})}), OWN_LIMIT_MS);
      });
      const answer = await Promise.race([late, this.asked(worker, {text: JSON.stringify({code})})]);
      return JSON.parse(answer.text);
    } catch (error) {
      return {refused: `It ended too early: ${error.message.slice(0, 200)}`};
    } finally {
      clearTimeout(timer);
      worker?.terminate();
      this.spare();
    }
  }
}
