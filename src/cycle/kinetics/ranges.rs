//! Where the constants may lie before any reading is seen, from the literature.
//!
//! Each range is log-normal, since a rate can be half or double but never negative. The spreads are
//! wide enough to cover every source named: suspended cultures, activated sludge and biofilters.

/// A log-normal range.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Range {
    /// Median.
    pub median: f64,
    /// Standard deviation of the natural logarithm.
    pub spread: f64,
}

impl Range {
    /// A range by median and log standard deviation.
    pub const fn new(median: f64, spread: f64) -> Self {
        Self { median, spread }
    }

    /// The value `deviates` standard deviations above the median.
    pub fn at(self, deviates: f64) -> f64 {
        self.median * (self.spread * deviates).exp()
    }
}

/// Prior ranges, rates at 20 degrees Celsius.
pub mod prior {
    use super::Range;

    /// 1/d. ASM1 0.8, ASM2d 1.0, ASMN 0.78, UCT 0.45, EPA 1975 0.77, Sin 2008 0.5-2.1; start-up of
    /// a fresh filter runs slower (mean generation up to 60 h, Hagopian & Riley 1998: 0.28).
    pub const GROWTH_A: Range = Range::new(0.55, 0.36);
    /// 1/d. ASMN 0.78, Sin 2008 0.4-1.05, Metcalf & Eddy 1.0; lag as above.
    pub const GROWTH_N: Range = Range::new(0.82, 0.32);
    /// mg N/L. ASM1 1.0, Sin 2008 0.14-1.0, Metcalf & Eddy 0.5.
    pub const HALF_A: Range = Range::new(0.4, 0.7);
    /// mg N/L. Sin 2008 0.1-3, Metcalf & Eddy 0.2, ASM1 1.0.
    pub const HALF_N: Range = Range::new(0.35, 0.8);
    /// mg/L. Sin 2008 0.1-1.45, ASM1 0.4, ASMN 0.6, EPA 1975 1.3.
    pub const OXYGEN_A: Range = Range::new(0.6, 0.45);
    /// mg/L. Sin 2008 0.3-1.5, ASMN 1.2, Metcalf & Eddy 0.9.
    pub const OXYGEN_N: Range = Range::new(1.1, 0.4);
    /// 1/d. Kinetics texts 0.03-0.06, UCT 0.04, ASMN 0.096, ASM2d 0.15, Metcalf & Eddy 0.17.
    pub const DECAY_A: Range = Range::new(0.035, 0.7);
    /// 1/d. ASMN 0.096, Sin 2008 0.08-0.2, Metcalf & Eddy 0.17.
    pub const DECAY_N: Range = Range::new(0.035, 0.7);
    /// 1/K. Ea 68 kJ/mol (Vannecke & Volcke) 0.092; theta 1.072 (0.070), ASM1 1.103 (0.098).
    pub const WARMTH_A: Range = Range::new(0.088, 0.18);
    /// 1/K. Ea 44 kJ/mol (Vannecke & Volcke) 0.060; theta 1.072 (0.070).
    pub const WARMTH_N: Range = Range::new(0.065, 0.25);
    /// mg N/L. Park & Bae 2009 290-1600 umol/L (4-22); Anthonisen 1976 10-150 mg NH3/L.
    pub const FREE_AMMONIA_A: Range = Range::new(9.0, 0.8);
    /// mg N/L. Park & Bae 2009 46 umol/L (0.64); Anthonisen 1976 0.1-1.0 mg NH3/L.
    pub const FREE_AMMONIA_N: Range = Range::new(0.6, 0.8);
    /// mg N/L. Park & Bae 2009 12 umol/L (0.17); Anthonisen 1976 0.22-2.8 mg HNO2/L.
    pub const NITROUS_ACID_A: Range = Range::new(0.2, 0.7);
    /// mg N/L. Park & Bae 2009 1.7-6.8 umol/L (0.024-0.095).
    pub const NITROUS_ACID_N: Range = Range::new(0.06, 0.7);
    /// mol/L: pH 6.5 with a spread of 0.25. EPA 1975 falls to nothing at pH 6.0.
    pub const ACID_A: Range = Range::new(6.3e-7, 0.7);
    /// mol/L: pH 6.4 with a spread of 0.25.
    pub const ACID_N: Range = Range::new(6.3e-7, 0.7);
    /// meq/L. ASM2d 0.5 mol/m3 for nitrifiers (from memory, not verified).
    pub const HALF_ALKALINITY: Range = Range::new(0.1, 0.9);
    /// 1/d, breakdown of uneaten food (rough; common practice, no source).
    pub const BREAKDOWN: Range = Range::new(0.5, 0.6);
    /// mg N/L/d, a full surface: 0.3-0.7 g N/m2/d (trickling biofilters) on 1-6 m2 per 100 L.
    pub const FULL: Range = Range::new(15.0, 0.8);
    /// mg N/L/d, ammonia oxidisers that come with water, air and decoration. No source gives it:
    /// chosen so that the model's start-up lasts the published 20-45 days at 25 degrees.
    pub const STRAY_A: Range = Range::new(2e-4, 1.0);
    /// Nitrite oxidisers likewise, mg N/L/d.
    pub const STRAY_N: Range = Range::new(2e-5, 1.2);
    /// mg N/L/d that a whole mature filter holds when moved.
    pub const MATURE_FILTER: Range = Range::new(3.5, 0.8);
    /// mg N/L/d that one mL of living starter brings to a litre (rough; no source).
    pub const BOTTLE_PER_ML_L: Range = Range::new(0.4, 1.3);
}
