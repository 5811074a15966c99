//! 3×3 matrices, by rows, for colour.

/// A 3×3 matrix, row by row.
pub type Matrix3 = [[f64; 3]; 3];

/// `matrix × vector`.
pub fn apply(matrix: &Matrix3, vector: [f64; 3]) -> [f64; 3] {
    matrix.map(|row| dot(row, vector))
}

/// `a × b`.
pub fn multiply(a: &Matrix3, b: &Matrix3) -> Matrix3 {
    let columns = transpose(b);
    a.map(|row| columns.map(|column| dot(row, column)))
}

/// Rows for columns.
pub fn transpose(m: &Matrix3) -> Matrix3 {
    std::array::from_fn(|i| std::array::from_fn(|j| m[j][i]))
}

/// A matrix with these on its diagonal and 0 elsewhere.
pub fn diagonal(d: [f64; 3]) -> Matrix3 {
    [[d[0], 0.0, 0.0], [0.0, d[1], 0.0], [0.0, 0.0, d[2]]]
}

/// The inverse, by cofactors. A singular matrix gives entries that are not finite.
pub fn inverse(m: &Matrix3) -> Matrix3 {
    // Each row of the inverse is a cross product of two columns over the determinant.
    let [a, b, c] = transpose(m);
    let determinant = dot(a, cross(b, c));
    [cross(b, c), cross(c, a), cross(a, b)].map(|row| row.map(|entry| entry / determinant))
}

fn dot(a: [f64; 3], b: [f64; 3]) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

fn cross(a: [f64; 3], b: [f64; 3]) -> [f64; 3] {
    [
        a[1] * b[2] - a[2] * b[1],
        a[2] * b[0] - a[0] * b[2],
        a[0] * b[1] - a[1] * b[0],
    ]
}
