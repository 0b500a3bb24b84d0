// What the brief says to those on the boat.
import { fieldSettingsOf, type FieldSettings } from '../data/field/settings';
import { askFor, type Asking } from './request';

export const askFieldSettings = (asking?: Asking): Promise<FieldSettings> => askFor('/api/deck', fieldSettingsOf, asking);
