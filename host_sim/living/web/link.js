// A session in the fragment of an address, deflated; and back, with a bound on what comes out of it.
const NAME = "#session=", MOST = 400000, LONGEST = 300000;

async function piped(bytes, stream, most) {
  const reader = new Blob([bytes]).stream().pipeThrough(stream).getReader(), parts = [];
  let size = 0;
  for (;;) {
    const { done, value } = await reader.read();
    if (done) break;
    size += value.length;
    if (size > most) { reader.cancel().catch(() => {}); throw new Error("too large"); }
    parts.push(value);
  }
  return new Uint8Array(await new Blob(parts).arrayBuffer());
}

export async function packed(session) {
  const bytes = await piped(new TextEncoder().encode(JSON.stringify(session)), new CompressionStream("deflate-raw"), Infinity);
  let text = "";
  for (const byte of bytes) text += String.fromCharCode(byte);
  const code = btoa(text).replace(/\+/g, "-").replace(/\//g, "_").replace(/=+$/, "");
  if (code.length > LONGEST) throw new Error("this session is too large for a link: save it as a site file");
  return `${location.href.split("#")[0]}${NAME}${code}`;
}

// The session of this page's own address, or null where it has none.  Throws for one that cannot be read.
export async function unpacked(hash) {
  if (!hash.startsWith(NAME)) return null;
  const code = hash.slice(NAME.length);
  try {
    if (code.length > LONGEST || !/^[A-Za-z0-9_-]*$/.test(code)) throw new Error("not a session");
    const bytes = Uint8Array.from(atob(code.replace(/-/g, "+").replace(/_/g, "/")), one => one.charCodeAt(0));
    return JSON.parse(new TextDecoder("utf-8", { fatal: true }).decode(await piped(bytes, new DecompressionStream("deflate-raw"), MOST)));
  } catch { throw new Error("the link holds no session that can be read: it is damaged, cut short, or too large"); }
}
