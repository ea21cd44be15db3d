/**
 * Draws the kit's icons as PNG, for who cannot use the SVG: `node icons/make.js`. Lines and areas as in styles/mark.svg;
 * all of it lies within the middle four fifths, which is what is left when a system cuts icons to its own shape.
 */
import { writeFileSync } from "node:fs";
import { crc32, deflateSync } from "node:zlib";

const GROUND = [0x14, 0x11, 0x0e];
const LINE = [0xb9, 0xae, 0x9e];
const LIT = [0xf4, 0xe2, 0xbd];

/** Areas as fractions of the side: left, top, width, height. @type {[number[], number, number, number, number][]} */
const AREAS = [
  [LIT, 0.3125, 0.3125, 0.1875, 0.375],
  [LINE, 0.15, 0.28, 0.7, 0.03],
  [LINE, 0.15, 0.69, 0.7, 0.03],
  [LINE, 0.28, 0.15, 0.03, 0.7],
  [LINE, 0.69, 0.15, 0.03, 0.7],
];

/** @param {number} side  pixels */
function pixels(side) {
  // Each row begins with its filter: none.
  const rows = Buffer.alloc(side * (1 + 3 * side));
  /** @type {(colour: number[], left: number, top: number, width: number, height: number) => void} */
  const fill = (colour, left, top, width, height) => {
    for (let y = Math.round(top * side); y < Math.round((top + height) * side); y++) {
      for (let x = Math.round(left * side); x < Math.round((left + width) * side); x++) rows.set(colour, y * (1 + 3 * side) + 1 + 3 * x);
    }
  };
  fill(GROUND, 0, 0, 1, 1);
  for (const area of AREAS) fill(...area);
  return rows;
}

/** @param {string} type @param {Buffer} data */
function chunk(type, data) {
  const body = Buffer.concat([Buffer.from(type, "latin1"), data]);
  const framed = Buffer.alloc(body.length + 8);
  framed.writeUInt32BE(data.length, 0);
  body.copy(framed, 4);
  framed.writeUInt32BE(crc32(body), body.length + 4);
  return framed;
}

/** @param {number} side  pixels */
function png(side) {
  const head = Buffer.alloc(13);
  head.writeUInt32BE(side, 0);
  head.writeUInt32BE(side, 4);
  // Eight bits a channel, red, green and blue.
  head.set([8, 2, 0, 0, 0], 8);
  const signature = Buffer.from([0x89, 0x50, 0x4e, 0x47, 0x0d, 0x0a, 0x1a, 0x0a]);
  return Buffer.concat([signature, chunk("IHDR", head), chunk("IDAT", deflateSync(pixels(side), { level: 9 })), chunk("IEND", Buffer.alloc(0))]);
}

for (const side of [192, 512]) writeFileSync(new URL(`icon-${side}.png`, import.meta.url), png(side));
