//! Numbers drawn at random, the same each time.

/// A small generator of evenly spread numbers: splitmix64 (S. Vigna, public domain).
pub struct Draws(pub u64);

impl Draws {
    /// A number from 0 to 1.
    pub fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / 9_007_199_254_740_992.0
    }

    /// A whole number below another.
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // not negative, and below `limit`
    pub fn below(&mut self, limit: usize) -> usize {
        ((self.uniform() * limit as f64) as usize).min(limit.saturating_sub(1))
    }

    /// A standard normal variable.
    pub fn normal(&mut self) -> f64 {
        (-2.0 * (1.0 - self.uniform()).ln()).sqrt() * (std::f64::consts::TAU * self.uniform()).cos()
    }

    /// A Gamma(k) variable of a whole shape: a sum of exponentials.
    pub fn gamma(&mut self, k: u32) -> f64 {
        (0..k).map(|_| -(1.0 - self.uniform()).ln()).sum()
    }

    /// A Gamma(k + 1/2) variable: exponentials and half a squared normal.
    pub fn gamma_half(&mut self, k: u32) -> f64 {
        self.gamma(k) + self.normal().powi(2) / 2.0
    }

    /// A Poisson count, by arrivals in unit time.
    pub fn poisson(&mut self, mean: f64) -> u64 {
        let (mut count, mut time) = (0, -(1.0 - self.uniform()).ln());
        while time < mean {
            count += 1;
            time -= (1.0 - self.uniform()).ln();
        }
        count
    }
}

impl Draws {
    /// A Poisson count, fast at any mean: by transformed rejection (W. Hörmann, Insurance: Mathematics and Economics 12
    /// (1993) 39-45) from a mean of 30 on.
    pub fn count(&mut self, mean: f64) -> u64 {
        if mean < 30.0 {
            return self.poisson(mean);
        }
        let width = 0.931 + 2.53 * mean.sqrt();
        let offset = -0.059 + 0.024_83 * width;
        let inverse_alpha = 1.1239 + 1.1328 / (width - 3.4);
        let quick = 0.9277 - 3.6224 / (width - 2.0);
        loop {
            let (place, height) = (self.uniform() - 0.5, self.uniform());
            let inside = 0.5 - place.abs();
            let count = ((2.0 * offset / inside + width) * place + mean + 0.43).floor();
            let is_likely = || {
                let log = (height * inverse_alpha / (offset / (inside * inside) + width)).ln();
                log <= count * mean.ln() - mean - ln_factorial(count)
            };
            let is_squeezed = inside >= 0.07 && height <= quick;
            if is_squeezed || (count >= 0.0 && (inside >= 0.013 || height <= inside) && is_likely()) {
                #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
                // a whole number of 0 or more
                return count as u64;
            }
        }
    }
}

/// By Stirling's series, for numbers of 10 and more to the last digits; smaller ones by their product.
fn ln_factorial(k: f64) -> f64 {
    if k < 10.0 {
        return ln_factorial(k + 1.0) - (k + 1.0).ln();
    }
    let (x, i) = (k + 1.0, 1.0 / (k + 1.0));
    let series = i * (1.0 / 12.0 - i * i * (1.0 / 360.0 - i * i * (1.0 / 1260.0 - i * i / 1680.0)));
    (x - 0.5) * x.ln() - x + (2.0 * std::f64::consts::PI).ln() / 2.0 + series
}
