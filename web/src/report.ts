// The report's script: draws each figure when it comes into view or the page is printed, shows what a number is made of,
// and walks from fish to fish by key. All numbers come from the embedded results document.
import './look/tokens.css';
import './look/figures.css';
import './look/report.css';
import { flushSync, mount, unmount } from 'svelte';
import Accounting from './figures/Accounting.svelte';
import BloodAfterEvent from './figures/BloodAfterEvent.svelte';
import ConditionPoints from './figures/ConditionPoints.svelte';
import CutOff from './figures/CutOff.svelte';
import Finding from './figures/Finding.svelte';
import FishOutline from './figures/FishOutline.svelte';
import FishTimeline from './figures/FishTimeline.svelte';
import PairedPeaks from './figures/PairedPeaks.svelte';
import PeakAgainstWindow from './figures/PeakAgainstWindow.svelte';
import PlateCurve from './figures/PlateCurve.svelte';
import PlateMap from './figures/PlateMap.svelte';
import Recovery from './figures/Recovery.svelte';
import RestingDistribution from './figures/RestingDistribution.svelte';
import StudyOverview from './figures/StudyOverview.svelte';
import TraceFigure from './figures/TraceFigure.svelte';
import UncertaintyShares from './figures/UncertaintyShares.svelte';
import UptakeThroughTime from './figures/UptakeThroughTime.svelte';
import { groupLook } from './figures/patterns';
import { paper } from './data/paper.svelte';
import { useLook, type Look } from './look/theme.svelte';
import { at, groupPlace, isQuantity, parseResults } from './data/read';
import type { Fish, Results } from './data/results';
import QuantityCard from './parts/QuantityCard.svelte';

/** Mounts the figure that `place` asks for; false when the document has nothing for it. */
function mountFigure(results: Results, place: HTMLElement, target: HTMLElement): boolean {
  const data = place.dataset;
  const fish: Fish | undefined = results.fish[Number(data.fish)];
  const colour = fish ? groupLook(groupPlace(results, fish.group)).colour : 'var(--trace)';
  switch (data.figure) {
    case 'accounting':
      mount(Accounting, { target, props: { accounting: results.accounting } });
      return true;
    case 'study-overview':
      mount(StudyOverview, { target, props: { results, measure: data.measure ?? '' } });
      return true;
    case 'finding': {
      const finding = results.findings[Number(data.finding)];
      if (finding) mount(Finding, { target, props: { results, finding } });
      return finding !== undefined;
    }
    case 'paired-peaks':
      mount(PairedPeaks, { target, props: { results } });
      return true;
    case 'condition-points':
      mount(ConditionPoints, { target, props: { results } });
      return true;
    case 'blood-after-event':
      // Of one fish where the place names one, else of all.
      mount(BloodAfterEvent, { target, props: fish ? { results, fish } : { results } });
      return data.fish === undefined || fish !== undefined;
    case 'plate-curve':
    case 'plate-map': {
      const plate = results.condition.plates[Number(data.plate)];
      if (plate) mount(data.figure === 'plate-map' ? PlateMap : PlateCurve, { target, props: { plate } });
      return plate !== undefined;
    }
  }
  if (!fish) return false;
  const { resting } = fish.metrics;
  switch (data.figure) {
    case 'fish-timeline':
      mount(FishTimeline, { target, props: { fish } });
      return true;
    case 'fish-outline':
      mount(FishOutline, { target, props: { fish, condition: results.condition } });
      return true;
    case 'uptake-through-time':
      mount(UptakeThroughTime, { target, props: { fish, colour } });
      return true;
    case 'uncertainty-shares':
      mount(UncertaintyShares, { target, props: { fish } });
      return true;
    case 'trace': {
      const stay = fish.stays[Number(data.stay)];
      if (stay) mount(TraceFigure, { target, props: { fish, stay } });
      return stay !== undefined;
    }
    case 'peak-against-window': {
      const peak = fish.metrics.peaks[Number(data.peak)];
      if (peak) mount(PeakAgainstWindow, { target, props: { fish, peak } });
      return peak !== undefined;
    }
    case 'recovery': {
      const recovery = fish.metrics.recoveries[Number(data.recovery)];
      if (recovery) mount(Recovery, { target, props: { fish, recovery, colour } });
      return recovery !== undefined;
    }
    case 'resting-distribution':
      if (resting) mount(RestingDistribution, { target, props: { fish, resting } });
      return resting !== null;
    case 'cut-off':
      if (resting) mount(CutOff, { target, props: { fish, resting } });
      return resting !== null;
  }
  return false;
}

function drawFigures(results: Results) {
  const waiting = new Set(document.querySelectorAll<HTMLElement>('[data-figure]'));
  const draw = (place: HTMLElement) => {
    if (!waiting.delete(place)) return;
    const target = place.querySelector<HTMLElement>('.drawing');
    if (!target) return;
    target.replaceChildren();
    try {
      if (!mountFigure(results, place, target)) target.textContent = 'There is nothing to draw here.';
    } catch (error) {
      // One figure that fails must not take the others with it; the tables still have its numbers.
      target.textContent = `This figure could not be drawn (${String(error)}). Its numbers are in the tables.`;
    }
  };
  const seen = new IntersectionObserver(
    (entries) => {
      for (const entry of entries) {
        if (entry.isIntersecting) {
          seen.unobserve(entry.target);
          draw(entry.target as HTMLElement);
        }
      }
    },
    { rootMargin: '600px 0px' },
  );
  waiting.forEach((place) => seen.observe(place));

  const unfolded: HTMLDetailsElement[] = [];
  const print = () => {
    paper.isPrinting = true;
    // Nothing stays folded on paper.
    for (const fold of document.querySelectorAll<HTMLDetailsElement>('details:not([open])')) {
      fold.open = true;
      unfolded.push(fold);
    }
    [...waiting].forEach(draw);
    flushSync();
  };
  addEventListener('beforeprint', print);
  addEventListener('afterprint', () => {
    paper.isPrinting = false;
    for (const fold of unfolded.splice(0)) fold.open = false;
  });
  if (matchMedia('print').matches) print();
}

/** Shows a card beside the number that is hovered, focused or tapped. */
function explainNumbers(results: Results) {
  let card: Record<string, unknown> | undefined;
  const hide = () => {
    if (card) void unmount(card);
    card = undefined;
  };
  const show = (node: HTMLElement) => {
    hide();
    const quantity = at(results, node.dataset.at ?? '');
    if (!isQuantity(quantity)) return;
    const box = node.getBoundingClientRect();
    const width = Math.min(340, innerWidth - 16);
    const left = Math.max(8, Math.min(box.left, innerWidth - width - 8)) + scrollX;
    node.setAttribute('aria-describedby', 'quantity-card');
    card = mount(QuantityCard, { target: document.body, props: { quantity, left, top: box.bottom + scrollY + 6 } });
  };
  const of = (event: Event) => (event.target as HTMLElement | null)?.closest<HTMLElement>('[data-at]') ?? null;
  for (const node of document.querySelectorAll<HTMLElement>('[data-at]')) {
    const quantity = at(results, node.dataset.at ?? '');
    if (isQuantity(quantity) && (quantity.method || quantity.contributions || quantity.interval)) node.tabIndex = 0;
    else node.removeAttribute('data-at');
  }
  for (const kind of ['pointerover', 'focusin', 'click']) {
    document.addEventListener(kind, (event) => {
      const node = of(event);
      if (node) show(node);
      else if (kind !== 'focusin') hide();
    });
  }
  document.addEventListener('focusout', hide);
  addEventListener('keydown', (event) => {
    if (event.key === 'Escape') hide();
  });
}

/** A table wider than its place can be reached, and moved by arrows, from the keyboard. */
function reachWideTables() {
  const seen = new IntersectionObserver((entries) => {
    for (const { isIntersecting, target } of entries) {
      if (!isIntersecting || !(target instanceof HTMLElement)) continue;
      if (target.scrollWidth > target.clientWidth) target.tabIndex = 0;
      else target.removeAttribute('tabindex');
    }
  });
  for (const place of document.querySelectorAll<HTMLElement>('.scroll')) seen.observe(place);
}

/** n and p walk from fish to fish; arrows walk within the index. */
function walkByKey() {
  const pages = [...document.querySelectorAll<HTMLElement>('article.fish')];
  const links = [...document.querySelectorAll<HTMLAnchorElement>('.fish-index a')];
  const go = (step: number) => {
    // A page counts as the present one when it begins at the window's top, give or take its scroll padding.
    const near = 24;
    const tops = pages.map((page) => page.getBoundingClientRect().top);
    const below = tops.findIndex((top) => top > near);
    const beside = below === -1 ? pages.length : below;
    const isAtTop = tops.some((top) => Math.abs(top) <= near);
    const next = step > 0 ? beside : beside - (isAtTop ? 2 : 1);
    const page = pages[Math.max(0, Math.min(pages.length - 1, next))];
    page?.focus({ preventScroll: true });
    page?.scrollIntoView();
  };
  addEventListener('keydown', (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const link = links.indexOf(document.activeElement as HTMLAnchorElement);
    if (link !== -1 && ['ArrowDown', 'ArrowRight', 'ArrowUp', 'ArrowLeft'].includes(event.key)) {
      event.preventDefault();
      const step = event.key === 'ArrowDown' || event.key === 'ArrowRight' ? 1 : -1;
      links[Math.max(0, Math.min(links.length - 1, link + step))]?.focus();
    } else if (event.key === 'n') {
      go(1);
    } else if (event.key === 'p') {
      go(-1);
    }
  });
}

/** The application shows the report in a frame and says in the address how it looks itself. */
function lookAsAsked() {
  const look = /^#look=(day|sun|night)$/.exec(location.hash)?.[1];
  if (look) useLook(look as Look);
}

function start() {
  lookAsAsked();
  const embedded = document.getElementById('results');
  document.documentElement.classList.add('scripted');
  try {
    const results = parseResults(embedded?.textContent ?? '');
    drawFigures(results);
    explainNumbers(results);
    walkByKey();
    reachWideTables();
  } catch (error) {
    for (const wait of document.querySelectorAll('.wait')) {
      wait.textContent = `The figures could not be drawn: ${error instanceof Error ? error.message : String(error)}.`;
    }
  }
}

start();
