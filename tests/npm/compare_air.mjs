// compare_air.mjs < OUTPUT OF print_air: moist air beside psychrolib (ASHRAE Fundamentals 2017, written apart).
//
// psychrolib turns to ice at the triple point, 0.01 degC, where core/air.c stays with water: below it only
// saturation over ice can be compared; of dew points, those above it.
import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';

const require = createRequire(`${process.env.SEASOND_NODE_MODULES}/x.js`);
const psy = require('psychrolib');
psy.SetUnitSystem(psy.SI);

const TRIPLE_DEGC = 0.01;
const relative = (got, want) => Math.abs(got - want) / Math.abs(want);
const apart = (got, want) => Math.abs(got - want);

// name, when it can be compared, ours, theirs, distance, tolerance
const checks = [
	// the same published coefficients: only rounding differs
	['saturation_over_water', (x) => x.t > TRIPLE_DEGC, (x) => x.water_pa, (x) => psy.GetSatVapPres(x.t), relative, 1e-12],
	['saturation_over_ice', (x) => x.t <= TRIPLE_DEGC, (x) => x.ice_pa, (x) => psy.GetSatVapPres(x.t), relative, 1e-12],
	['vapour_pressure', (x) => x.t > TRIPLE_DEGC, (x) => x.vapour_pa, (x) => psy.GetVapPresFromRelHum(x.t, x.rh), relative, 1e-12],
	// psychrolib stops its iteration within 0.001 K
	['dew_point', (x) => x.dew_degc > TRIPLE_DEGC + 0.001, (x) => x.dew_degc, (x) => psy.GetTDewPointFromRelHum(x.t, x.rh), apart, 1e-3],
	['humidity_ratio', (x) => x.t > TRIPLE_DEGC, (x) => x.ratio, (x) => psy.GetHumRatioFromRelHum(x.t, x.rh, x.p_pa), relative, 1e-12],
	// psychrolib has the volume of moist air for 1 kg of dry air, its constants rounded to six digits
	['absolute_humidity', (x) => x.t > TRIPLE_DEGC, (x) => x.absolute_g_m3, (x) => {
		const w = psy.GetHumRatioFromRelHum(x.t, x.rh, x.p_pa);
		return 1000 * w / psy.GetMoistAirVolume(x.t, w, x.p_pa);
	}, relative, 2e-5],
];

const [names, ...rows] = readFileSync(0, 'utf8').trimEnd().split('\n').map((line) => line.split(' '));
const points = rows.map((row) => Object.fromEntries(names.map((name, i) => [name.replace('t_degc', 't'), Number(row[i])])));
let failed = false;
for (const [name, when, ours, theirs, distance, tolerance] of checks) {
	const chosen = points.filter(when);
	let worst = { off: -1 };
	for (const x of chosen) {
		const off = distance(ours(x), theirs(x));
		if (!(off <= worst.off)) // NaN too
			worst = { off, x };
	}
	const good = chosen.length >= 1000 && worst.off <= tolerance;
	console.log(`${good ? 'ok' : 'not ok'} ${name}`);
	console.log(`# ${chosen.length} points, farthest ${worst.off} (at most ${tolerance})`);
	if (!good)
		console.log(`# at ${JSON.stringify(worst.x)}`);
	failed ||= !good;
}
process.exit(failed ? 1 : 0);
