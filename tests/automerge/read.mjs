// Reads a pack with the Automerge library for JavaScript and nothing of Firnbook, and prints each key of each day as a JSON line
// {day, key, value, values}: the value that this library shows, and all that were ever put there, sorted.
//
// Usage: FIRNBOOK_NODE=folder-with-node_modules node read.mjs FILE. The format of a pack is told in schemas/pack.md.

import assert from "node:assert/strict"
import { createHash } from "node:crypto"
import { readFileSync } from "node:fs"
import { createRequire } from "node:module"

const { getConflicts, getHeads, load } = createRequire(`${process.env.FIRNBOOK_NODE}/`)("@automerge/automerge")
const sha256 = (bytes) => createHash("sha256").update(bytes).digest("hex")

const pack = readFileSync(process.argv[2])
const body = pack.subarray(0, -32)
assert.equal(body.toString("latin1", 0, 8), "FIRNPACK")
assert.equal(body.readUInt16BE(8), 2)
assert.equal(sha256(body), pack.subarray(-32).toString("hex"))
const documents = 14 + body.readUInt32BE(10)
const manifest = JSON.parse(body.toString("utf8", 14, documents))

let at = documents
for (const day of manifest.days) {
  const bytes = body.subarray(at, at + day.length)
  const content = body.subarray(at, at + day.length + day.beside)
  at += content.length
  assert.equal(sha256(content), day.sha256)
  const doc = load(new Uint8Array(bytes))
  assert.ok(getHeads(doc).length > 0)
  assert.deepEqual([String(doc.id), String(doc.date), doc.format], [day.id, day.date, 1])
  for (const key of Object.keys(doc.entries)) {
    const concurrent = getConflicts(doc.entries, key) ?? { only: doc.entries[key] }
    const values = Object.values(concurrent).map(String).sort()
    console.log(JSON.stringify({ day: day.id, key, value: String(doc.entries[key]), values }))
  }
}
assert.equal(at, body.length)
