// Does the official parser take the message document? node message_document.mjs FILE: prints one JSON object.
import { readFileSync } from 'node:fs'
import { createRequire } from 'node:module'

const { Parser } = createRequire(process.env.MODULES + '/')('@asyncapi/parser')
const { document, diagnostics } = await new Parser().parse(readFileSync(process.argv[2], 'utf8'))
const said = diagnostics.map(one => ({ severity: one.severity, text: `${one.message} (${one.path.join('.')})` }))
const found = document === undefined ? {} : {
  version: document.version(),
  channels: document.channels().length,
  operations: document.operations().length,
  schemas: document.schemas().length,
  examples: document.messages().all().filter(message => message.examples().length > 0).length,
}
console.log(JSON.stringify({ taken: document !== undefined, said, ...found }))
