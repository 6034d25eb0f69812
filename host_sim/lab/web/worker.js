// Python in a worker. The page puts two files of the runtime before this text and starts the whole from a blob,
// so that the page's policy holds here too: a worker started by its address would have none.
"use strict";

let answered = null;

async function startPython({wasm, files, lock, snapshot, project, recording}) {
  const fetched = self.fetch;
  // The runtime asks for its files by address; it gets what the page has sent, and nothing else.
  self.fetch = async (address) => new Response(files[String(address).split("/").pop()]);
  // The page has compiled the program once, for every worker.
  WebAssembly.instantiateStreaming = async (_, imports) =>
    ({module: wasm, instance: await WebAssembly.instantiate(wasm, imports)});
  const options = {indexURL: "https://files.invalid/", lockFileContents: lock,
    createPyodideModule: self.createPyodideModule};
  if (snapshot) { options._loadSnapshot = snapshot; }
  if (recording) { options._makeSnapshot = true; }
  const python = await self.loadPyodide(options);
  self.fetch = fetched;
  // A snapshot holds memory, no files.
  python.unpackArchive(project, "zip", {extractDir: "/project"});
  python.runPython("import sys\nif '/project' not in sys.path:\n    sys.path.insert(0, '/project')");
  return python;
}

async function begin(start) {
  const python = await startPython(start);
  if (start.recording) {
    python.runPython(start.recording);
    return {snapshot: python.makeMemorySnapshot()};
  }
  answered = python.pyimport("host_sim.lab.in_page")[start.entry];
  return {ready: true};
}

self.onmessage = async ({data}) => {
  try {
    self.postMessage(data.start ? await begin(data.start) : {text: answered(data.text)});
  } catch (error) {
    self.postMessage({failed: String(error)});
  }
};
