//! Polygons of files as triangles.

use super::{ReadError, ReadLimits};
use crate::control::Cancel;
use crate::mesh::{Point, polygon};

/// How many polygons are collected between two looks at whether anybody still waits for them.
pub(super) const BETWEEN_LOOKS: u64 = 1024;

/// Collects polygons as triangles, minding the limit.
pub(super) struct FaceCollector<'a> {
    pub faces: Vec<[u32; 3]>,
    polygons: u64,
    pub limits: &'a ReadLimits,
    cancel: &'a Cancel,
}

/// Whether a face has no more corners than the limit.
pub(super) fn check_corners(face: u64, corners: u64, limits: &ReadLimits) -> Result<(), ReadError> {
    let limit = limits.max_corners;
    if corners > limit {
        return Err(ReadError::TooManyCorners { face, corners, limit });
    }
    Ok(())
}

impl<'a> FaceCollector<'a> {
    /// With no face yet.
    pub fn new(limits: &'a ReadLimits, cancel: &'a Cancel) -> Self {
        Self { faces: Vec::new(), polygons: 0, limits, cancel }
    }

    /// Takes a polygon, given by its corners.
    pub fn push(&mut self, ring: &[u32], positions: &[Point]) -> Result<(), ReadError> {
        let face = self.polygons;
        self.polygons += 1;
        if face.is_multiple_of(BETWEEN_LOOKS) || ring.len() > 100 {
            self.cancel.check()?;
        }
        check_corners(face, ring.len() as u64, self.limits)?;
        if let Some(&bad) = ring.iter().find(|v| **v as usize >= positions.len()) {
            return Err(ReadError::BadIndex {
                face,
                vertex: i64::from(bad),
                count: positions.len() as u64,
            });
        }
        // Polygons of other than finite points cannot be triangulated; say so by the vertex.
        if ring.len() > 3
            && let Some(&vertex) =
                ring.iter().find(|v| positions[**v as usize].iter().any(|x| !x.is_finite()))
        {
            return Err(ReadError::NotFinite { vertex });
        }
        let triangles = self.faces.len() as u64 + ring.len().saturating_sub(2) as u64;
        if triangles > self.limits.max_triangles {
            return Err(ReadError::TooManyTriangles {
                triangles,
                limit: self.limits.max_triangles,
            });
        }
        match *ring {
            [a, b, c] => self.faces.push([a, b, c]),
            _ => self.faces.extend(
                polygon::triangulate_ring(ring, positions)
                    .ok_or(ReadError::BadPolygon { face, corners: ring.len() })?,
            ),
        }
        Ok(())
    }
}
