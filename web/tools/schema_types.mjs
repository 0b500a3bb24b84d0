// Writes the TypeScript faces of src/report/results.schema.json (src/data/results.ts) and of the schemas in
// src/server/openapi.json (src/server/api.ts); with --check it only compares and fails on drift. It knows the part of
// JSON Schema 2020-12 that these use, and stops at anything else.
import { readFileSync, writeFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';

const read = (path) => JSON.parse(readFileSync(new URL(path, import.meta.url), 'utf8'));
export const sources = [
  {
    from: 'src/report/results.schema.json',
    to: 'src/data/results.ts',
    types: (from) => {
      const schema = read(`../../${from}`);
      return [['Results', schema], ...Object.entries(schema.$defs)];
    },
  },
  {
    from: 'src/server/openapi.json',
    to: 'src/server/api.ts',
    types: (from) => Object.entries(read(`../../${from}`).components.schemas),
  },
];

const known = new Set([
  '$schema', '$id', '$ref', '$defs', 'title', 'description', 'type', 'properties', 'required', 'additionalProperties',
  'items', 'anyOf', 'enum', 'const', 'format', 'minimum', 'maximum', 'minLength', 'maxLength', 'minItems', 'if', 'then',
]);
const plain = { string: 'string', number: 'number', integer: 'number', boolean: 'boolean', null: 'null' };

const typeName = (word) => word.split('_').map((part) => part[0].toUpperCase() + part.slice(1)).join('');
// `Number` is the language's own; ours is a number with its uncertainty.
const nameOf = (word) => (word === 'number' ? 'Quantity' : typeName(word));

function refuse(node) {
  for (const key of Object.keys(node)) {
    if (!known.has(key)) throw new Error(`schema_types: "${key}" is not a word this generator knows`);
  }
}

function typeOf(node, indent) {
  refuse(node);
  if (node.$ref) return nameOf(node.$ref.replace(/^#\/(\$defs|components\/schemas)\//, ''));
  if ('const' in node) return JSON.stringify(node.const);
  if (node.enum) return node.enum.map((each) => JSON.stringify(each)).join(' | ');
  if (node.anyOf) return node.anyOf.map((each) => typeOf(each, indent)).join(' | ');
  if (Array.isArray(node.type)) return node.type.map((each) => plain[each]).join(' | ');
  if (node.type === 'array') {
    const item = typeOf(node.items, indent);
    return item.includes(' | ') ? `(${item})[]` : `${item}[]`;
  }
  if (node.type === 'object') return objectType(node, indent);
  if (Object.keys(node).every((key) => key === 'description')) return 'unknown';
  if (!plain[node.type]) throw new Error(`schema_types: no type for ${JSON.stringify(node)}`);
  return plain[node.type];
}

function objectType(node, indent) {
  if (!node.properties) {
    return `Record<string, ${node.additionalProperties ? typeOf(node.additionalProperties, indent) : 'unknown'}>`;
  }
  const inner = indent + '  ';
  const required = new Set(node.required ?? []);
  const lines = Object.entries(node.properties).map(([name, value]) => {
    const note = value.description ? `${inner}/** ${value.description} */\n` : '';
    return `${note}${inner}${name}${required.has(name) ? '' : '?'}: ${typeOf(value, inner)};`;
  });
  return `{\n${lines.join('\n')}\n${indent}}`;
}

export function typesText({ from, types }) {
  const parts = [`// Made from ${from} by tools/schema_types.mjs (npm run types). Do not edit.\n`];
  for (const [word, node] of types(from)) {
    if (node.description) parts.push(`/** ${node.description} */`);
    const name = nameOf(word);
    const body = typeOf(node, '');
    parts.push(body.startsWith('{') ? `export interface ${name} ${body}\n` : `export type ${name} = ${body};\n`);
  }
  return parts.join('\n');
}

if (process.argv[1] === fileURLToPath(import.meta.url)) {
  for (const source of sources) {
    const file = fileURLToPath(new URL(`../${source.to}`, import.meta.url));
    const text = typesText(source);
    if (!process.argv.includes('--check')) {
      writeFileSync(file, text);
    } else if (readFileSync(file, 'utf8') !== text) {
      console.error(`${source.to} is not what ${source.from} gives: run "npm run types"`);
      process.exit(1);
    }
  }
}
