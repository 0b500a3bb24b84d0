// What Set-up asks of the program about phones: the secure road, codes that pair, and the phones there are.
import type { Pairing, PairingCode, PairingWish } from './api';
import { askFor, remove, sendFor, type Asking } from './request';
import { having } from './setup';

export const pairingOf = (value: unknown): Pairing => having(value, ['is_on', 'devices', 'trust_address', 'fingerprint'], 'what is known of phones');
const codeOf = (value: unknown): PairingCode => having(value, ['code', 'address', 'qr_svg', 'expires_at'], 'the code');

export const askPairing = (asking?: Asking): Promise<Pairing> => askFor('/api/pairing', pairingOf, asking);
export const makeCode = (wish: PairingWish, token: string): Promise<PairingCode> => sendFor('POST', '/api/pairing', wish, token, codeOf);
export const endPairing = (id: string, token: string): Promise<Response> => remove(`/api/pairing/${encodeURIComponent(id)}`, token);
