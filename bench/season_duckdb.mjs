// node season_duckdb.mjs FILE.csv read|slopes|windows [THREADS]
//
// The season tasks in DuckDB's SQL, from Node.js; the module is found through NODE_PATH by script/bench. Prints the line
// that season.R and season_bench print.
import { createRequire } from 'node:module';

const require = createRequire(process.env.BACKEDDY_DUCKDB + '/');
const { DuckDBInstance } = require('@duckdb/node-api');

const [file, task, threads = '2'] = process.argv.slice(2);
const db = await (await DuckDBInstance.create(':memory:', { threads })).connect();
const rows = async (sql) => (await db.runAndReadAll(sql)).getRowObjectsJson();

const season = `read_csv('${file}', header = true, delim = ',', columns = {'time': 'TIMESTAMP', 'chamber': 'INTEGER',
  'o2_mgL': 'DOUBLE', 'temp_C': 'DOUBLE', 'pump': 'INTEGER'}, timestampformat = '%Y-%m-%dT%H:%M:%SZ')`;
// A spell is a run of the pump's state in one chamber; its first minute is set aside.
const sealed = `changes AS (
    SELECT chamber, epoch(time) AS t, o2_mgL AS y, pump,
           pump IS DISTINCT FROM lag(pump) OVER (PARTITION BY chamber ORDER BY time) AS changed FROM season),
  runs AS (SELECT chamber, t, y, pump, sum(changed::INTEGER) OVER (PARTITION BY chamber ORDER BY t) AS spell FROM changes),
  timed AS (SELECT chamber, spell, t, y, t - min(t) OVER (PARTITION BY chamber, spell) AS x FROM runs WHERE pump = 0),
  sealed AS (SELECT * FROM timed WHERE x >= 60)`;

await db.run(`CREATE TABLE season AS SELECT * FROM ${season}`);
if (task === 'read') {
  const [r] = await rows('SELECT count(*) AS n, sum(o2_mgL) AS s FROM season');
  console.log(`rows ${r.n} oxygen ${Number(r.s).toFixed(6)}`);
} else if (task === 'slopes') {
  const [r] = await rows(`WITH ${sealed},
    slopes AS (SELECT count(*) AS n, regr_slope(y, x) * 3600 AS slope FROM sealed GROUP BY chamber, spell HAVING count(*) >= 3)
    SELECT sum(n) AS n, count(*) AS spells, sum(slope) AS s FROM slopes`);
  console.log(`rows ${r.n} spells ${r.spells} slopes ${Number(r.s).toFixed(9)}`);
} else {
  const [r] = await rows(`WITH ${sealed},
    windows AS (SELECT chamber, spell, regr_slope(y, x) OVER w * 3600 AS slope, count(*) OVER w AS n FROM sealed
      WINDOW w AS (PARTITION BY chamber, spell ORDER BY t ROWS BETWEEN 120 PRECEDING AND CURRENT ROW)),
    steepest AS (SELECT min(slope) AS s FROM windows WHERE n = 121 GROUP BY chamber, spell)
    SELECT count(*) AS spells, sum(s) AS s FROM steepest`);
  console.log(`spells ${r.spells} steepest ${Number(r.s).toFixed(9)}`);
}
