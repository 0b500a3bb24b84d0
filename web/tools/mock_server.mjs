// Serves the built pages and a folder of results as the program does, for working on the pages without it:
//
//   node tools/mock_server.mjs RESULTS_FOLDER [PORT]      (npm run build:app first; port 0 takes any that is free)
//
// It holds to the same content policy. What it answers besides results and files is invented.
import { createHash } from 'node:crypto';
import { createReadStream, existsSync, readdirSync, readFileSync, statSync } from 'node:fs';
import { createServer } from 'node:http';
import { extname, join, resolve } from 'node:path';
import { fileURLToPath } from 'node:url';

const folder = resolve(process.argv[2] ?? '.');
const port = Number(process.argv[3] ?? 4870);
const built = fileURLToPath(new URL('../dist-app', import.meta.url));
const text = readFileSync(join(folder, 'results.json'), 'utf8');
const results = JSON.parse(text);
const revision = createHash('sha256').update(text).digest('hex').slice(0, 12);
const stays = new Map([...results.fish.flatMap((fish) => fish.stays), ...results.blanks].map((stay) => [stay.id, stay]));
const types = { '.html': 'text/html; charset=utf-8', '.js': 'text/javascript', '.css': 'text/css', '.svg': 'image/svg+xml', '.json': 'application/json', '.csv': 'text/csv; charset=utf-8' };
const policy =
  "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; font-src 'self'; connect-src 'self'; manifest-src 'self'; " +
  "worker-src 'self'; frame-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'";
// The report is one file with its own script and style: it stands in a frame without rights.
const reportPolicy =
  "sandbox allow-scripts allow-downloads allow-modals; default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; img-src data: blob:; frame-ancestors 'self'";

const state = {
  phase: 'ready', what: '', done: 0, total: 0, unit: '', revision, answered_at: new Date().toISOString(), complaints: results.complaints,
};
const words = ['peak_after_capture', 'peak_after_chase', 'resting', 'scope', 'excess', 'recovery'];

function json(reply, value, status = 200, headers = {}) {
  reply.writeHead(status, { 'Content-Type': status < 400 ? 'application/json' : 'application/problem+json', 'Content-Security-Policy': policy, ...headers });
  reply.end(JSON.stringify(value));
}
const problem = (reply, status, detail, remedy) => json(reply, { type: 'about:blank', title: 'Refused', status, detail, remedy }, status);

/** Of each slice of time the lowest and the highest reading. */
function traceOf(stay, from, to) {
  const zero = Date.parse(stay.trace.from) / 1000;
  const begin = from ? Date.parse(from) / 1000 : zero;
  const end = to ? Date.parse(to) / 1000 : Infinity;
  const kept = stay.trace.at_s.flatMap((s, i) => (s !== null && zero + s >= begin && zero + s <= end ? [i] : []));
  const pick = (name) => (stay.trace[name].length > 0 ? kept.map((i) => stay.trace[name][i]) : []);
  return {
    from: new Date(begin * 1000).toISOString().replace('.000', ''), at_s: kept.map((i) => stay.trace.at_s[i] + zero - begin),
    oxygen_mg_per_l: pick('oxygen_mg_per_l'), saturation_percent: pick('saturation_percent'), temperature_celsius: pick('temperature_celsius'),
    states: stay.trace.states.filter((run) => Date.parse(run.to) / 1000 >= begin && Date.parse(run.from) / 1000 <= end), rows: kept.length,
  };
}

function why(reply, fish, number) {
  const found = results.fish.find((each) => each.id === fish);
  if (!found || !words.includes(number)) return problem(reply, 404, `no ${number} of ${fish}`, `ask for one of ${words.join(', ')}`);
  const stay = found.stays[0];
  const spells = stay.spells.number.slice(0, 3).map((n, i) => `  spell ${String(n).padStart(3)}  ${stay.spells.from[i]} to ${stay.spells.to[i]}  slope ${stay.spells.slope_mg_per_l_h[i]?.toFixed(3)} mg/L/h  raw/invented.csv lines ${100 * n} to ${100 * n + 60}`);
  return json(reply, { text: `${fish}: ${number} (a mock's invented road)\nwhat its uncertainty is made of:\n   62.1 %  6.8  mg/kg/h  slope\nstay ${stay.id} in ${stay.assembly}\n${spells.join('\n')}\n` });
}

function file(reply, path, headers = {}) {
  reply.writeHead(200, { 'Content-Type': types[extname(path)] ?? 'application/octet-stream', 'Content-Security-Policy': policy, ...headers });
  createReadStream(path).pipe(reply);
}

const resultFiles = () => readdirSync(folder).filter((name) => statSync(join(folder, name)).isFile()).sort();

const server = createServer((request, reply) => {
  const address = new URL(request.url ?? '/', 'http://localhost');
  const parts = address.pathname.split('/').filter((part) => part !== '').map(decodeURIComponent);
  if (parts[0] !== 'api') {
    const asset = join(built, parts.join('/'));
    const path = parts.length === 1 && existsSync(asset) && extname(asset) !== '' ? asset : join(built, 'index.html');
    return file(reply, path);
  }
  switch (parts[1]) {
    case 'about':
      return json(reply, { program: 'backeddy', version: results.study.program_version });
    case 'session':
      return json(reply, { name: '', role: 'scientist', change_token: 'mock' });
    case 'state':
      return json(reply, state);
    case 'results':
      if (request.headers['if-none-match'] === `"${revision}"`) return reply.writeHead(304).end();
      reply.writeHead(200, { 'Content-Type': 'application/json', ETag: `"${revision}"` });
      return reply.end(text);
    case 'stays': {
      const stay = stays.get(parts[2]);
      return stay ? json(reply, traceOf(stay, address.searchParams.get('from'), address.searchParams.get('to'))) : problem(reply, 404, `no stay ${parts[2]}`, 'choose one of the list');
    }
    case 'why':
      return parts.length === 2 ? json(reply, words) : why(reply, parts[2], parts[3]);
    case 'files':
      if (parts.length === 2) return json(reply, resultFiles().map((name) => ({ name, bytes: statSync(join(folder, name)).size })));
      if (!resultFiles().includes(parts[2])) return problem(reply, 404, `no file ${parts[2]}`, 'choose one of the list');
      return file(reply, join(folder, parts[2]), parts[2] === 'report.html' ? { 'Content-Security-Policy': reportPolicy } : {});
  }
  return problem(reply, 404, 'there is nothing at this address', 'go back to the first page');
});

// Frames of text under 64 kB, to the pages only: all that is needed here.
server.on('upgrade', (request, socket) => {
  const accept = createHash('sha1').update(`${request.headers['sec-websocket-key']}258EAFA5-E914-47DA-95CA-C5AB0DC85B11`).digest('base64');
  socket.write(`HTTP/1.1 101 Switching Protocols\r\nUpgrade: websocket\r\nConnection: Upgrade\r\nSec-WebSocket-Accept: ${accept}\r\n\r\n`);
  const body = Buffer.from(JSON.stringify({ state }));
  const size = body.length < 126 ? Buffer.from([0x81, body.length]) : Buffer.from([0x81, 126, body.length >> 8, body.length & 255]);
  socket.write(Buffer.concat([size, body]));
  socket.on('error', () => socket.destroy());
  socket.on('data', (data) => {
    if ((data[0] & 15) === 8) socket.end();
  });
});

server.listen(port, '127.0.0.1', () => console.log(`http://127.0.0.1:${server.address().port}/`));
