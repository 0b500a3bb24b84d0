// The application's pages: everything comes from the server that served them, nothing from anywhere else.
import './look/tokens.css';
import './look/figures.css';
import './look/app.css';
import './look/setup.css';
import './look/paper.css';
import './look/ask.css';
import './look/watch.css';
import { mount } from 'svelte';
import App from './app/App.svelte';
import { keys } from './app/keys.svelte';
import { looks } from './app/looks.svelte';
import { where } from './app/where.svelte';
import { changes } from './server/changes.svelte';
import { live } from './server/live.svelte';
import { watchSaid } from './server/watch_said.svelte';

looks.start();
where.start();
keys.start();
changes.start();
watchSaid.start();
live.start();
mount(App, { target: document.body });
