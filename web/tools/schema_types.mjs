// Writes src/data/results.ts, the TypeScript face of src/report/results.schema.json; with --check it only compares and
// fails on drift. It knows the part of JSON Schema 2020-12 that the schema uses, and stops at anything else.
import { readFileSync, writeFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';

const schemaFile = fileURLToPath(new URL('../../src/report/results.schema.json', import.meta.url));
const typesFile = fileURLToPath(new URL('../src/data/results.ts', import.meta.url));

const known = new Set([
  '$schema', '$id', '$ref', '$defs', 'title', 'description', 'type', 'properties', 'required', 'additionalProperties',
  'items', 'anyOf', 'enum', 'const', 'format', 'minimum', 'maximum', 'minLength', 'if', 'then',
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
  if (node.$ref) return nameOf(node.$ref.replace('#/$defs/', ''));
  if ('const' in node) return JSON.stringify(node.const);
  if (node.enum) return node.enum.map((each) => JSON.stringify(each)).join(' | ');
  if (node.anyOf) return node.anyOf.map((each) => typeOf(each, indent)).join(' | ');
  if (Array.isArray(node.type)) return node.type.map((each) => plain[each]).join(' | ');
  if (node.type === 'array') {
    const item = typeOf(node.items, indent);
    return item.includes(' | ') ? `(${item})[]` : `${item}[]`;
  }
  if (node.type === 'object') return objectType(node, indent);
  if (!plain[node.type]) throw new Error(`schema_types: no type for ${JSON.stringify(node)}`);
  return plain[node.type];
}

function objectType(node, indent) {
  const inner = indent + '  ';
  const required = new Set(node.required ?? []);
  const lines = Object.entries(node.properties).map(([name, value]) => {
    const note = value.description ? `${inner}/** ${value.description} */\n` : '';
    return `${note}${inner}${name}${required.has(name) ? '' : '?'}: ${typeOf(value, inner)};`;
  });
  return `{\n${lines.join('\n')}\n${indent}}`;
}

export function typesText() {
  const schema = JSON.parse(readFileSync(schemaFile, 'utf8'));
  const parts = [
    '// Made from src/report/results.schema.json by tools/schema_types.mjs (npm run types). Do not edit.\n',
  ];
  const add = (name, node) => {
    if (node.description) parts.push(`/** ${node.description} */`);
    const body = typeOf(node, '');
    parts.push(body.startsWith('{') ? `export interface ${name} ${body}\n` : `export type ${name} = ${body};\n`);
  };
  add('Results', schema);
  for (const [word, node] of Object.entries(schema.$defs)) add(nameOf(word), node);
  return parts.join('\n');
}

if (process.argv[1] === fileURLToPath(import.meta.url)) {
  const text = typesText();
  if (process.argv.includes('--check')) {
    if (readFileSync(typesFile, 'utf8') !== text) {
      console.error('src/data/results.ts is not what results.schema.json gives: run "npm run types"');
      process.exit(1);
    }
  } else {
    writeFileSync(typesFile, text);
  }
}
