/** Reads big-endian bit fields. Beyond the end it delivers zeros and sets `isOverrun`. */
export class BitReader {
  private bit: number;
  private readonly endBit: number;
  isOverrun = false;

  constructor(private readonly bytes: Uint8Array, startByte: number) {
    this.bit = startByte * 8;
    this.endBit = bytes.length * 8;
  }

  /** First whole byte that has not been begun. */
  get nextByte(): number { return Math.ceil(this.bit / 8); }

  /** An unsigned field of 0 to 33 bits, exact as a number. */
  readUnsigned(width: number): number {
    if (this.bit + width > this.endBit) { this.isOverrun = true; return 0; }
    let value = 0;
    for (let left = width; left > 0;) {
      const inByte = this.bit & 7;
      const take = Math.min(8 - inByte, left);
      const part = (this.bytes[this.bit >>> 3] >> (8 - inByte - take)) & ((1 << take) - 1);
      value = value * (1 << take) + part;
      this.bit += take;
      left -= take;
    }
    return value;
  }

  /** A two's complement field. */
  readSigned(width: number): number {
    const value = this.readUnsigned(width);
    return width > 0 && value >= 2 ** (width - 1) ? value - 2 ** width : value;
  }

  /** Number of zero bits before the next one bit; the one bit is consumed. */
  readUnary(): number {
    const start = this.bit;
    while (this.bit < this.endBit) {
      const rest = (this.bytes[this.bit >>> 3] << (this.bit & 7)) & 0xff;
      if (rest !== 0) {
        this.bit += Math.clz32(rest) - 24 + 1;
        return this.bit - 1 - start;
      }
      this.bit = (this.bit | 7) + 1;
    }
    this.isOverrun = true;
    return 0;
  }
}
