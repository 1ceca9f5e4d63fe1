"""Reads OFF files."""


def read_off(path):
    """Positions, and faces with polygons cut into fans."""
    lines = path.read_text().splitlines()
    words = " ".join(line.split("#")[0] for line in lines).split()
    if words[0] != "OFF":
        raise SystemExit(f"{path}: not an OFF file")
    vertex_count, face_count = int(words[1]), int(words[2])
    at = 4
    positions = []
    for _ in range(vertex_count):
        positions.append([float(w) for w in words[at : at + 3]])
        at += 3
    faces = []
    for _ in range(face_count):
        count = int(words[at])
        corners = [int(w) for w in words[at + 1 : at + 1 + count]]
        at += 1 + count
        faces += [[corners[0], corners[i], corners[i + 1]] for i in range(1, count - 1)]
    return positions, faces
