// Chromium as a phone that trusts the program's authority: in a home of its own with that one certificate in its trust store,
// and the program's name led to this machine. Certificate errors are errors.
import { execFileSync } from 'node:child_process';
import { mkdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { chromium } from 'playwright-core';

/** `home` is an empty folder, `origin` where `/trust/authority.crt` is to be had, `name` the program's; needs certutil of
    libnss3-tools; CHROMIUM names the browser, /usr/bin/chromium when not set. */
export async function browserThatTrusts(home, origin, name) {
  const authority = join(home, 'authority.crt');
  writeFileSync(authority, Buffer.from(await (await fetch(`${origin}/trust/authority.crt`)).arrayBuffer()));
  const store = join(home, '.pki', 'nssdb');
  mkdirSync(store, { recursive: true });
  execFileSync('certutil', ['-N', '-d', `sql:${store}`, '--empty-password']);
  execFileSync('certutil', ['-A', '-d', `sql:${store}`, '-t', 'C,,', '-n', 'backeddy', '-i', authority]);
  return chromium.launch({
    executablePath: process.env.CHROMIUM ?? '/usr/bin/chromium',
    args: ['--no-sandbox', `--host-resolver-rules=MAP ${name} 127.0.0.1`],
    env: { ...process.env, HOME: home },
  });
}
