/* Moist air.
 * Units: temperature degC, relative humidity rh as a fraction 0..1 over liquid water also below
 * 0 degC (as hygrometers report: WMO-No. 8), pressures Pa. Outside a range the result is NAN.
 * Source: ASHRAE Handbook Fundamentals 2017 ch. 1, eqs 5 and 6 (Hyland and Wexler 1983), eq. 20. */
#ifndef CORE_AIR_H
#define CORE_AIR_H

/* Saturation pressure over liquid water (eq. 6), -60..200 degC. */
double air_saturation_water_pa(double t_degc);

/* Saturation pressure over ice (eq. 5), -100..0.01 degC. */
double air_saturation_ice_pa(double t_degc);

/* Partial pressure of water vapour. */
double air_vapour_pa(double t_degc, double rh);

/* Dew point over liquid water by safeguarded Newton on eq. 6; rh is taken as at least 0.001.
 * Valid for t_degc -60..100. */
double air_dew_point_degc(double t_degc, double rh);

/* Mass of vapour to mass of dry air, kg/kg, at total pressure p_pa (eq. 20). */
double air_humidity_ratio(double t_degc, double rh, double p_pa);

/* Mass of vapour in a volume, g/m3 (ideal gas, Rv 461.52 J/(kg K)). */
double air_absolute_humidity_g_m3(double t_degc, double rh);

#endif
