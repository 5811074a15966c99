//! What a fabric weighs and how it gives: the numbers that decide its folds.

/// Mechanics of a fabric. The first of a pair is along the warp, the second along the weft.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mechanics {
    /// Weight in grams a square metre.
    pub weight_g_m2: f64,
    /// Bending rigidity a unit of width, in micronewton metres (KES-F B).
    pub bending_un_m: [f64; 2],
    /// Tensile stiffness a unit of width at small loads, in newtons a metre.
    pub stretch_n_m: [f64; 2],
    /// Shear stiffness in newtons a metre and radian (KES-F G of 1 gf/cm/° is 56).
    pub shear_n_m: f64,
    /// Thickness under light pressure, in millimetres.
    pub thickness_mm: f64,
    /// Share of the air's full drag that the cloth feels: 1 closed, less where air goes through.
    pub drag: f64,
}

impl Mechanics {
    /// The shipped fabric of that file name, or `None`.
    ///
    /// Values lie in the ranges that KES-F measurements of such cloths give
    /// (Kawabata 1980 and later surveys), from memory.
    pub fn of_fabric(name: &str) -> Option<Self> {
        // name, g/m², B warp, B weft (µN·m), tension warp, weft (N/m), shear (N/m), mm, drag
        type Row = (&'static str, f64, [f64; 2], [f64; 2], f64, f64, f64);
        const ROWS: [Row; 20] = [
            ("chiffon", 38.0, [0.5, 0.4], [900.0, 600.0], 9.0, 0.12, 0.7),
            (
                "corduroy",
                310.0,
                [24.0, 9.0],
                [3500.0, 2500.0],
                90.0,
                1.30,
                1.0,
            ),
            (
                "cotton-plain",
                125.0,
                [6.5, 5.0],
                [3000.0, 2200.0],
                60.0,
                0.30,
                1.0,
            ),
            (
                "cotton-sateen",
                135.0,
                [5.0, 4.5],
                [2800.0, 2400.0],
                40.0,
                0.30,
                1.0,
            ),
            (
                "denim",
                400.0,
                [55.0, 30.0],
                [6000.0, 4500.0],
                170.0,
                0.80,
                1.0,
            ),
            (
                "floral-lace",
                110.0,
                [3.0, 2.0],
                [900.0, 500.0],
                25.0,
                0.60,
                0.5,
            ),
            (
                "gingham",
                115.0,
                [5.5, 4.5],
                [3000.0, 2200.0],
                50.0,
                0.28,
                1.0,
            ),
            (
                "herringbone-tweed",
                330.0,
                [22.0, 18.0],
                [2200.0, 1800.0],
                50.0,
                1.20,
                1.0,
            ),
            (
                "leather",
                560.0,
                [70.0, 70.0],
                [5000.0, 5000.0],
                1200.0,
                0.85,
                1.0,
            ),
            (
                "linen-slub",
                190.0,
                [15.0, 12.0],
                [5000.0, 4500.0],
                50.0,
                0.45,
                0.9,
            ),
            (
                "poplin",
                120.0,
                [6.0, 4.0],
                [3500.0, 2200.0],
                60.0,
                0.25,
                1.0,
            ),
            (
                "rib-two-two",
                260.0,
                [4.5, 2.5],
                [500.0, 150.0],
                35.0,
                1.10,
                0.8,
            ),
            (
                "sequins",
                420.0,
                [9.0, 7.0],
                [1200.0, 1000.0],
                40.0,
                1.20,
                1.0,
            ),
            (
                "silk-satin",
                85.0,
                [3.2, 2.2],
                [2000.0, 1500.0],
                14.0,
                0.16,
                1.0,
            ),
            (
                "single-jersey",
                150.0,
                [1.6, 1.2],
                [600.0, 300.0],
                30.0,
                0.55,
                0.9,
            ),
            (
                "tartan",
                240.0,
                [12.0, 9.0],
                [2200.0, 1700.0],
                45.0,
                0.65,
                1.0,
            ),
            ("tulle", 18.0, [1.0, 0.8], [300.0, 200.0], 12.0, 0.25, 0.25),
            (
                "velvet",
                300.0,
                [13.0, 8.0],
                [2500.0, 1800.0],
                55.0,
                1.40,
                1.0,
            ),
            (
                "wool-flannel",
                280.0,
                [13.0, 11.0],
                [1800.0, 1300.0],
                45.0,
                0.95,
                1.0,
            ),
            (
                "wool-suiting",
                210.0,
                [9.5, 7.0],
                [2400.0, 1700.0],
                38.0,
                0.45,
                1.0,
            ),
        ];
        let row = ROWS.iter().find(|r| r.0 == name)?;
        Some(Self {
            weight_g_m2: row.1,
            bending_un_m: row.2,
            stretch_n_m: row.3,
            shear_n_m: row.4,
            thickness_mm: row.5,
            drag: row.6,
        })
    }

    /// A sensible guess for a woven of that weight, for fabrics that carry no
    /// mechanics of their own. Bending rigidity grows about with the square of
    /// weight among cloths of one kind (common practice, from memory).
    pub fn of_weight(weight_g_m2: f64) -> Self {
        let w = weight_g_m2.clamp(10.0, 1200.0);
        let bending = (4.8 * (w / 130.0).powi(2)).max(0.3);
        Self {
            weight_g_m2: w,
            bending_un_m: [bending, 0.75 * bending],
            stretch_n_m: [2500.0, 1800.0],
            shear_n_m: (40.0 * (w / 130.0).sqrt()).min(200.0),
            thickness_mm: (0.3 * w / 130.0).clamp(0.1, 3.0),
            drag: if w < 60.0 { 0.7 } else { 1.0 },
        }
    }

    /// Peirce's bending length along the warp, in centimetres: (B / weight)^⅓
    /// (Peirce 1930, "The handle of cloth as a measurable quantity").
    pub fn bending_length_cm(&self) -> f64 {
        let rigidity = self.bending_un_m[0] * 1e-6;
        let weight = self.weight_g_m2 * 1e-3 * 9.81;
        (rigidity / weight).cbrt() * 100.0
    }
}
