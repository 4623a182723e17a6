// The horn, to be heard on request only: a browser lets a page sound after its person has asked for it.
const HZ = 660, LOUD = 0.08;

export class Horn {
  constructor(box) {
    this.box = box;
    this.audio = null;
    this.on = false;
    box.onchange = () => { if (box.checked) this.open(); this.set(); };
  }
  open() {
    if (this.audio) { this.audio.resume(); return; }
    this.audio = new AudioContext();
    const tone = this.audio.createOscillator();
    this.gain = this.audio.createGain();
    this.gain.gain.value = 0;
    tone.frequency.value = HZ;
    tone.connect(this.gain).connect(this.audio.destination);
    tone.start();
  }
  ring(on) { if (!!on !== this.on) { this.on = !!on; this.set(); } }
  set() { if (this.gain) this.gain.gain.value = this.on && this.box.checked ? LOUD : 0; }
  get sounding() { return !!this.gain && this.gain.gain.value > 0; }
}
