//! What both kinds of crossed analysis end in: standard deviations and their shares.

/// Most steps that a plate's spread can be told apart in, per ratio of spreads: 1.41 of 97 % non-overlapping intervals
/// (Automotive Industry Action Group, Measurement Systems Analysis, 4th edition).
pub(super) const CATEGORIES: f64 = 1.41;

/// Components of variance, in the square of the unit, and what follows from them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Components {
    /// Of repeated measurements.
    pub repeat: f64,
    /// Of the interaction of operators with parts.
    pub interaction: f64,
    /// Of operators.
    pub operators: f64,
    /// Of parts.
    pub parts: f64,
    /// The interaction before a negative estimate was set to zero.
    pub interaction_raw: f64,
    /// The operators before a negative estimate was set to zero.
    pub operators_raw: f64,
    /// The parts before a negative estimate was set to zero.
    pub parts_raw: f64,
}

/// Shares of the total variance, per cent.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Contributions {
    /// Repeatability.
    pub repeat: f64,
    /// Operators and their interaction with parts.
    pub reproducibility: f64,
    /// Both together.
    pub gauge: f64,
    /// Parts.
    pub parts: f64,
}

/// An F test of an effect.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Effect {
    /// Ratio of mean squares.
    pub f: f64,
    /// Probability of a larger ratio where there is no effect.
    pub p: f64,
}

impl Components {
    /// Standard deviation of repeatability (EV).
    #[must_use]
    pub fn repeatability(&self) -> f64 {
        self.repeat.sqrt()
    }

    /// Standard deviation of reproducibility (AV): operators and interaction.
    #[must_use]
    pub fn reproducibility(&self) -> f64 {
        (self.operators + self.interaction).sqrt()
    }

    /// Standard deviation of the whole measuring system (GRR).
    #[must_use]
    pub fn gauge(&self) -> f64 {
        self.gauge_variance().sqrt()
    }

    /// Standard deviation of the parts (PV).
    #[must_use]
    pub fn part_spread(&self) -> f64 {
        self.parts.sqrt()
    }

    /// Standard deviation of all together (TV).
    #[must_use]
    pub fn total(&self) -> f64 {
        self.total_variance().sqrt()
    }

    fn gauge_variance(&self) -> f64 {
        self.repeat + self.operators + self.interaction
    }

    fn total_variance(&self) -> f64 {
        self.gauge_variance() + self.parts
    }

    /// Shares of the variance; none where nothing varies.
    #[must_use]
    pub fn contributions(&self) -> Option<Contributions> {
        let share = |variance: f64| percent(variance, self.total_variance());
        Some(Contributions {
            repeat: share(self.repeat)?,
            reproducibility: share(self.operators + self.interaction)?,
            gauge: share(self.gauge_variance())?,
            parts: share(self.parts)?,
        })
    }

    /// Standard deviation of the measuring system in per cent of the total; none where nothing varies.
    #[must_use]
    pub fn percent_of_study(&self) -> Option<f64> {
        percent(self.gauge(), self.total())
    }

    /// Six standard deviations of the measuring system in per cent of a tolerance's width; none without a width.
    #[must_use]
    pub fn percent_of_tolerance(&self, width: f64) -> Option<f64> {
        percent(6.0 * self.gauge(), width)
    }

    /// 1.41 times the ratio of the parts' spread to the measuring system's; none where the measuring system has none.
    #[must_use]
    pub fn categories_raw(&self) -> Option<f64> {
        ratio(CATEGORIES * self.part_spread(), self.gauge())
    }

    /// Number of distinct categories: the whole steps of it, at least one.
    #[must_use]
    pub fn categories(&self) -> Option<f64> {
        self.categories_raw().map(|raw| raw.floor().max(1.0))
    }
}

/// A ratio, where it is one.
pub(super) fn ratio(a: f64, b: f64) -> Option<f64> {
    (b > 0.0).then(|| a / b).filter(|r| r.is_finite())
}

/// The same in per cent.
pub(super) fn percent(a: f64, b: f64) -> Option<f64> {
    ratio(100.0 * a, b)
}
