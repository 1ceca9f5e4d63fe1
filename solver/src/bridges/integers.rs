//! Integer row reduction: which combinations of loops link nothing.

/// Coordinates in which the first `rank` say whether a class links the solid, and the rest say
/// which of the classes that link nothing it is.
#[derive(Clone, Debug)]
pub(super) struct Split {
    /// Rank of the linking matrix.
    pub rank: usize,
    /// Row `i`: the new coordinates of old generator `i`. Unimodular.
    pub coordinates: Vec<Vec<i128>>,
}

impl Split {
    /// `linking[i][k]`: how often generator `i` links test loop `k`.
    ///
    /// Rows are combined by integer steps (Euclid's algorithm, as for the Hermite normal form)
    /// until the matrix has `rank` independent rows on top and zeros below. Since the steps can
    /// be undone over the integers, the rows that became zero span *all* classes that link
    /// nothing, not just a part of finite index.
    pub fn new(mut linking: Vec<Vec<i128>>) -> Self {
        let rows = linking.len();
        let columns = linking.first().map_or(0, Vec::len);
        let mut coordinates: Vec<Vec<i128>> =
            (0..rows).map(|i| (0..rows).map(|j| i128::from(i == j)).collect()).collect();
        let mut rank = 0;
        for column in 0..columns {
            loop {
                let pivot = (rank..rows)
                    .filter(|&i| linking[i][column] != 0)
                    .min_by_key(|&i| linking[i][column].abs());
                let Some(pivot) = pivot else { break };
                linking.swap(rank, pivot);
                for row in &mut coordinates {
                    row.swap(rank, pivot);
                }
                let mut clear = true;
                for i in rank + 1..rows {
                    let factor = linking[i][column].div_euclid(linking[rank][column]);
                    if factor == 0 && linking[i][column] == 0 {
                        continue;
                    }
                    let top = linking[rank].clone();
                    for (value, top) in linking[i].iter_mut().zip(top) {
                        *value -= factor * top;
                    }
                    // Row i of the transformation lost `factor` of row `rank`: the inverse's
                    // column `rank` gains it of column i.
                    for row in &mut coordinates {
                        row[rank] += factor * row[i];
                    }
                    clear &= linking[i][column] == 0;
                }
                if clear {
                    rank += 1;
                    break;
                }
            }
            if rank == rows {
                break;
            }
        }
        Self { rank, coordinates }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// x L = 0 exactly for those x whose first `rank` coordinates vanish (exhaustive check).
    #[test]
    fn first_coordinates_vanish_exactly_on_the_kernel() {
        let linking = vec![vec![2, 0, 4], vec![3, 1, 7], vec![5, 1, 11], vec![1, 1, 3]];
        let split = Split::new(linking.clone());
        assert_eq!(split.rank, 2);
        let mut in_kernel = 0;
        for code in 0..7i128.pow(4) {
            let x: Vec<i128> = (0..4).map(|k| code / 7i128.pow(k) % 7 - 3).collect();
            let times = |m: &[Vec<i128>], c: usize| (0..4).map(|i| x[i] * m[i][c]).sum::<i128>();
            let kernel = (0..3).all(|c| times(&linking, c) == 0);
            let first_zero = (0..split.rank).all(|c| times(&split.coordinates, c) == 0);
            assert_eq!(kernel, first_zero, "{x:?}");
            in_kernel += usize::from(kernel);
        }
        assert!(in_kernel > 10);
    }
}
