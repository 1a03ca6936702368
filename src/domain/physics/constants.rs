//! Constants of water and ice, each with its source.

/// Heat of fusion of ice at 0 C, J/kg (IAPWS-95 minus IAPWS R10-06).
pub const HEAT_OF_FUSION_J_KG: f64 = 333_426.5;

/// Heat capacity of liquid water near 0 C, J/(kg K) (IAPWS-95: 4219 at 0 C, 4195 at 10 C).
pub const WATER_CP_J_KGK: f64 = 4210.0;

/// Heat capacity of ice at -5 C, J/(kg K) (IAPWS R10-06).
pub const ICE_CP_J_KGK: f64 = 2060.0;

/// Density of pure water at 20 C, kg/m3 (IAPWS-95).
pub const WATER_DENSITY_20C_KG_M3: f64 = 998.207;

/// Density of liquid water near 0 C as the pipe formulas take it, kg/m3.
pub const WATER_DENSITY_KG_M3: f64 = 1000.0;

/// Density of ice at 0 C, kg/m3 (IAPWS R10-06).
pub const ICE_DENSITY_KG_M3: f64 = 916.72;

/// Conductivity of ice at -5 C, W/(m K) (CRC Handbook, "Properties of ice and supercooled water").
pub const ICE_CONDUCTIVITY_W_MK: f64 = 2.22;

/// Stefan-Boltzmann constant, W/(m2 K4) (CODATA).
pub const STEFAN_BOLTZMANN: f64 = 5.670_374e-8;

/// Kelvin at 0 C.
pub const ZERO_C_IN_K: f64 = 273.15;

/// Seconds in an hour.
pub const SECONDS_PER_HOUR: f64 = 3600.0;
