// The shadow: MicroPython for 32 bits repeats a session's steps.  The same file runs in the page's worker and in Node.

// `load` is MicroPython's loadMicroPython, `files` {path: text} of the firmware, `script` the text of shadow.py.
export async function shadow(load, options, files, script) {
  const python = await load(options), made = new Set();
  const folder = path => {
    if (!path || made.has(path)) return;
    folder(path.slice(0, path.lastIndexOf("/")));
    python.FS.mkdir(path);
    made.add(path);
  };
  for (const [path, text] of Object.entries(files)) {
    const whole = `/firmware/${path}`;
    folder(whole.slice(0, whole.lastIndexOf("/")));
    python.FS.writeFile(whole, text);
  }
  python.runPython(script);
  const call = (name, value) => JSON.parse(python.globals.get(name)(JSON.stringify(value)));
  return { begin: settings => call("begin", settings), repeat: rows => call("repeat", rows) };
}
