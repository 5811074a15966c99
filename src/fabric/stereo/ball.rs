//! The direction of a light, read off a shiny ball in frame.

use super::StereoError;
use crate::fabric::maps::Picture;

/// A polished ball as the picture shows it. Places are in pixels from the picture's upper left
/// corner, to the right and **down**; the middle of the first pixel is (0.5, 0.5).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ball {
    /// Its middle.
    pub centre_px: [f64; 2],
    /// Its radius.
    pub radius_px: f64,
}

/// A highlight must be this many times as bright as the ball's middling pixel.
const BRIGHT: f64 = 3.0;

/// Distance from the middle over the radius at which the light would lie in the picture's plane is
/// √½; a little less is taken.
const RIM: f64 = 0.70;

impl Ball {
    /// The circle through points of the ball's outline, at least three, by least squares (I. Kåsa,
    /// IEEE Trans. Instrum. Meas. 25, 1976, 8).
    ///
    /// # Errors
    /// [`StereoError::Outline`] for fewer points and for points in a line.
    pub fn through(outline_px: &[[f64; 2]]) -> Result<Self, StereoError> {
        let count = outline_px.len();
        let error = StereoError::Outline { count };
        if count < 3 || !outline_px.iter().flatten().all(|v| v.is_finite()) {
            return Err(error);
        }
        // About the mean, x² + y² = 2ax + 2by + c falls into two equations for the centre.
        let n = count as f64;
        let mean = [0, 1].map(|c| outline_px.iter().map(|p| p[c]).sum::<f64>() / n);
        let (mut xx, mut xy, mut yy, mut xr, mut yr) = (0.0, 0.0, 0.0, 0.0, 0.0);
        for p in outline_px {
            let (x, y) = (p[0] - mean[0], p[1] - mean[1]);
            let r2 = x * x + y * y;
            xx += x * x;
            xy += x * y;
            yy += y * y;
            xr += x * r2;
            yr += y * r2;
        }
        let determinant = xx * yy - xy * xy;
        if determinant <= 1e-6 * (xx + yy).powi(2) {
            return Err(error);
        }
        let a = 0.5 * (xr * yy - yr * xy) / determinant;
        let b = 0.5 * (yr * xx - xr * xy) / determinant;
        Ok(Self {
            centre_px: [mean[0] + a, mean[1] + b],
            radius_px: (a * a + b * b + (xx + yy) / n).sqrt(),
        })
    }

    /// The unit direction toward the light (right, up, toward the camera) from the ball's
    /// highlight in one shot, the camera far off straight above (orthographic view).
    ///
    /// Where the ball's normal is `n`, the light comes from `2 (n·v) n - v`. On such a ball equal
    /// areas of the picture show equal solid angles, so the brightness-weighted mean of the
    /// directions is the middle of a large light too.
    ///
    /// # Errors
    /// [`StereoError`] where the ball is not in the picture, shows no highlight or two, or where
    /// the highlight lies so far out that the light would stand behind the swatch.
    pub fn light_direction(&self, picture: &Picture) -> Result<[f64; 3], StereoError> {
        let window = self.window(picture)?;

        // Look for what is much brighter than the ball.
        let mut sorted: Vec<f64> = window.inside().map(|at| window.value[at]).collect();
        sorted.sort_by(f64::total_cmp);
        let (Some(&brightest), Some(&median)) = (sorted.last(), sorted.get(sorted.len() / 2))
        else {
            return Err(self.outside(picture));
        };
        if brightest <= 0.0 || brightest < BRIGHT * median {
            return Err(StereoError::NoHighlight { brightest, median });
        }
        let floor = 0.5 * (brightest + median.max(0.0));
        let mut spots = window.spots(floor);
        spots.sort_by_key(|spot| std::cmp::Reverse(spot.len()));
        let centroid = |spot: &[usize]| {
            let sum = spot.iter().fold([0.0; 2], |sum, &at| {
                let p = window.place(at);
                [sum[0] + p[0], sum[1] + p[1]]
            });
            sum.map(|s| s / spot.len() as f64)
        };
        let Some(spot) = spots.first() else {
            return Err(StereoError::NoHighlight { brightest, median });
        };
        if let Some(other) = spots.get(1).filter(|other| 2 * other.len() > spot.len()) {
            return Err(StereoError::TwoHighlights {
                first_px: centroid(spot),
                second_px: centroid(other),
            });
        }

        // Mirror the view at each of its pixels.
        let middle = centroid(spot);
        let out = (middle[0] - self.centre_px[0]).hypot(middle[1] - self.centre_px[1]);
        if out > RIM * self.radius_px {
            return Err(StereoError::Rim {
                out: out / self.radius_px,
            });
        }
        let mut sum = [0.0; 3];
        for &at in spot {
            let p = window.place(at);
            let x = (p[0] - self.centre_px[0]) / self.radius_px;
            let y = (self.centre_px[1] - p[1]) / self.radius_px;
            let z = (1.0 - x * x - y * y).max(0.0).sqrt();
            let weight = window.value[at] - floor;
            let light = [2.0 * z * x, 2.0 * z * y, 2.0 * z * z - 1.0];
            (0..3).for_each(|c| sum[c] += weight * light[c]);
        }
        let length = super::rig::dot(sum, sum).sqrt();
        Ok(sum.map(|v| v / length))
    }

    fn outside(&self, picture: &Picture) -> StereoError {
        StereoError::BallOutside {
            centre_px: self.centre_px,
            radius_px: self.radius_px,
            width: picture.width,
            height: picture.height,
        }
    }

    /// The ball's part of the picture.
    fn window(&self, picture: &Picture) -> Result<Window, StereoError> {
        let ([x, y], r) = (self.centre_px, self.radius_px);
        let (w, h) = (picture.width as f64, picture.height as f64);
        let fits =
            r >= 4.0 && x - r >= -1.0 && y - r >= -1.0 && x + r <= w + 1.0 && y + r <= h + 1.0;
        // Written so that NaN is refused.
        if !fits || picture.width.checked_mul(picture.height) != Some(picture.rgb.len()) {
            return Err(self.outside(picture));
        }
        let from = [(x - r).max(0.0) as usize, (y - r).max(0.0) as usize];
        let to = [
            ((x + r).ceil() as usize).min(picture.width),
            ((y + r).ceil() as usize).min(picture.height),
        ];
        let mut value = Vec::new();
        for j in from[1]..to[1] {
            for i in from[0]..to[0] {
                // The outermost hundredth shows what stands behind the ball.
                let off = (i as f64 + 0.5 - x).hypot(j as f64 + 0.5 - y);
                let pixel = picture.rgb[j * picture.width + i];
                let sum: f32 = pixel.iter().sum();
                value.push(match off <= 0.99 * r && sum.is_finite() {
                    true => f64::from(sum) / 3.0,
                    false => f64::NEG_INFINITY,
                });
            }
        }
        Ok(Window {
            from,
            width: to[0] - from[0],
            value,
        })
    }
}

/// Brightness over the ball; minus infinity beside it.
struct Window {
    from: [usize; 2],
    width: usize,
    value: Vec<f64>,
}

impl Window {
    fn inside(&self) -> impl Iterator<Item = usize> {
        (0..self.value.len()).filter(|&at| self.value[at].is_finite())
    }

    /// The middle of a pixel, in the picture.
    fn place(&self, at: usize) -> [f64; 2] {
        [
            (self.from[0] + at % self.width) as f64 + 0.5,
            (self.from[1] + at / self.width) as f64 + 0.5,
        ]
    }

    /// Connected pixels brighter than `floor`.
    fn spots(&self, floor: f64) -> Vec<Vec<usize>> {
        let mut seen = vec![false; self.value.len()];
        let mut spots = Vec::new();
        for start in self.inside() {
            if seen[start] || self.value[start] <= floor {
                continue;
            }
            seen[start] = true;
            let mut spot = vec![start];
            let mut next = 0;
            while let Some(&at) = spot.get(next) {
                next += 1;
                let column = at % self.width;
                let left = (column > 0).then(|| at - 1);
                let right = (column + 1 < self.width).then(|| at + 1);
                let around = [
                    left,
                    right,
                    at.checked_sub(self.width),
                    Some(at + self.width),
                ];
                for near in around.into_iter().flatten() {
                    if near < seen.len() && !seen[near] && self.value[near] > floor {
                        seen[near] = true;
                        spot.push(near);
                    }
                }
            }
            spots.push(spot);
        }
        spots
    }
}

#[cfg(test)]
mod tests {
    use super::Ball;

    #[test]
    fn a_circle_through_points() {
        let points: Vec<_> = [10.0_f64, 100.0, 170.0, 300.0]
            .map(|a| {
                let (s, c) = a.to_radians().sin_cos();
                [50.0 + 20.0 * c, 30.0 + 20.0 * s]
            })
            .into();
        let ball = Ball::through(&points).unwrap();
        assert!((ball.radius_px - 20.0).abs() < 1e-9);
        assert!((ball.centre_px[0] - 50.0).abs() < 1e-9);
        assert!(Ball::through(&points[..2]).is_err());
        assert!(Ball::through(&[[0.0, 0.0], [1.0, 1.0], [2.0, 2.0]]).is_err());
        assert!(Ball::through(&[[f64::NAN, 0.0], [1.0, 1.0], [2.0, 0.0]]).is_err());
    }
}
