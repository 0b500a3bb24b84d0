// What a brief says to the deck.
import { fieldSettingsOf, type FieldSettings } from '../src/data/field/settings';

export const deckAnswer = {
  study: 'Invented trout of Skerry Voe', zone: 'Europe/London', identity: '00c0ffee00c0ffee',
  permit: { number: 'SV-1', fish: 40, chases_per_fish: 1, air_s: 60, at_death: 'stop and ring the licence holder' },
  rods: ['port bow', 'starboard stern'], rigs: ['single_hook', 'treble_hooks'], unhooking: ['in_water', 'in_air'], landing: ['net'],
  hook_locations: ['upper_jaw', 'gills'], lost_reasons: ['hook_pulled'], handling: [], species: ['Salmo trutta'], anaesthetics: [],
  blood: { ceiling_ml_per_kg: 1, ceiling_within_h: 24, due_min: 50 }, seal_within_s: 120,
  assemblies: [{ assembly: 'tube_A', volume_l: 10.4 }, { assembly: 'box_1', volume_l: 32 }],
  fins: { fins: ['dorsal', 'left_pectoral', 'right_pectoral'], scale: ['unhurt', 'slight', 'severe'] }, body: { scale: ['none', 'some', 'much'] },
  reflexes: ['righting', 'tail grab'],
  words: {
    event: ['lines_in', 'lines_out', 'bite', 'hook_up', 'lost', 'landed', 'back_in_water', 'sealed', 'chase_start', 'chase_end', 'air_start', 'air_end', 'transfer', 'blood',
      'anaesthetic', 'tagged', 'weighed', 'disturbance', 'cleaning', 'opened', 'righting_lost', 'released', 'died', 'role_note', 'sensor_swap', 'lights_on', 'lights_off', 'note'],
    role: [], ended: [], fate: [],
  },
  rows: {},
};

export const fieldSettings: FieldSettings = fieldSettingsOf(deckAnswer);
