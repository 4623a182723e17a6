// What was recorded when the page was built: shown until the engine itself speaks.
export class Recording {
  constructor(hear, drawn) { this.hear = hear; this.drawn = drawn; this.running = true; }
  async start() {
    const got = await fetch("recorded.json");
    if (!got.ok || !this.running) return;
    const { hello, every_ms, looks } = await got.json();
    this.hear(hello);
    for (let i = 0; this.running; i = (i + 1) % looks.length) {
      this.hear(i ? looks[i] : { fresh: true, ...looks[0] });
      this.drawn();
      this.drawn = () => {};
      await new Promise(go => setTimeout(go, every_ms));
    }
  }
  stop() { this.running = false; }
}
