// Runs a script under MicroPython's WebAssembly build: node run_wasm.mjs MICROPYTHON.MJS SCRIPT LIB [ARGUMENTS]
// The Python files below LIB lie in its file system under /firmware, and ARGUMENTS is what sys.argv is elsewhere.
import fs from "fs";
import path from "path";
import { pathToFileURL } from "url";

const [build, script, lib, ...rest] = process.argv.slice(2);
process.argv.length = 1; // the build itself would take the arguments for its own
const { loadMicroPython } = await import(pathToFileURL(build).href);
const mp = await loadMicroPython({ heapsize: 8 * 1024 * 1024, stdout: (line) => process.stdout.write(line + "\n") });

function copy(from, to) {
    mp.FS.mkdir(to);
    for (const entry of fs.readdirSync(from, { withFileTypes: true })) {
        const source = path.join(from, entry.name);
        if (entry.isDirectory() && !entry.name.startsWith("__")) copy(source, to + "/" + entry.name);
        else if (entry.name.endsWith(".py")) mp.FS.writeFile(to + "/" + entry.name, fs.readFileSync(source));
    }
}
copy(lib, "/firmware");
// A folder among the arguments is copied too and handed over under its new name.
rest.forEach((argument, i) => {
    if (fs.existsSync(argument) && fs.statSync(argument).isDirectory()) {
        copy(argument, "/argument" + i);
        rest[i] = "/argument" + i;
    }
});
const argv = JSON.stringify([script, "/firmware", ...rest]);
try {
    mp.runPython(`ARGUMENTS = ${argv}\n`);
    mp.runPython(fs.readFileSync(script, "utf8"));
} catch (error) {
    console.error(error.message);
    process.exitCode = 1;
}
