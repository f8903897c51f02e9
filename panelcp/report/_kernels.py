"""Compiled loops of the static maps: hidden surface, colouring, lines on a surface."""

from __future__ import annotations

import numpy as np
from numba import njit

_INSIDE = -1e-9


@njit(cache=True)
def fill_depth(points, triangle_image, depth_image, weight_image):
    """Which panel each pixel shows: the nearest one that faces the viewer.

    Parameters
    ----------
    points : (n_panels, 3, 3) float, pixel units: across, up, towards the viewer; the centre
        of pixel (row, column) is at (column + 0.5, row + 0.5)
    triangle_image : (height, width) int32, filled with -1 by the caller
    depth_image : (height, width) float, filled with -inf by the caller
    weight_image : (height, width, 2) float32: weights of corners 0 and 1, third is the rest

    Notes
    -----
    Barycentric weights from signed areas. Serial and in panel order, the first of two equal
    depths stays, so the picture is the same on every run.
    """
    height, width = triangle_image.shape
    for panel in range(points.shape[0]):
        x0, y0, z0 = points[panel, 0]
        x1, y1, z1 = points[panel, 1]
        x2, y2, z2 = points[panel, 2]
        area = (x1 - x0) * (y2 - y0) - (x2 - x0) * (y1 - y0)
        if area <= 0.0:
            continue
        first_row = max(0, int(np.ceil(min(y0, y1, y2) - 0.5)))
        last_row = min(height - 1, int(np.floor(max(y0, y1, y2) - 0.5)))
        first_column = max(0, int(np.ceil(min(x0, x1, x2) - 0.5)))
        last_column = min(width - 1, int(np.floor(max(x0, x1, x2) - 0.5)))
        for row in range(first_row, last_row + 1):
            y = row + 0.5
            for column in range(first_column, last_column + 1):
                x = column + 0.5
                w0 = ((x1 - x) * (y2 - y) - (x2 - x) * (y1 - y)) / area
                w1 = ((x2 - x) * (y0 - y) - (x0 - x) * (y2 - y)) / area
                w2 = 1.0 - w0 - w1
                if w0 < _INSIDE or w1 < _INSIDE or w2 < _INSIDE:
                    continue
                depth = w0 * z0 + w1 * z1 + w2 * z2
                if depth > depth_image[row, column]:
                    depth_image[row, column] = depth
                    triangle_image[row, column] = panel
                    weight_image[row, column, 0] = w0
                    weight_image[row, column, 1] = w1


@njit(cache=True)
def interpolate_pixels(triangle_image, weight_image, corner_values, out):
    """Linear value at each covered pixel; `out` (height, width) is left alone elsewhere."""
    height, width = triangle_image.shape
    for row in range(height):
        for column in range(width):
            panel = triangle_image[row, column]
            if panel >= 0:
                w0 = weight_image[row, column, 0]
                w1 = weight_image[row, column, 1]
                out[row, column] = (
                    w0 * corner_values[panel, 0]
                    + w1 * corner_values[panel, 1]
                    + (1.0 - w0 - w1) * corner_values[panel, 2]
                )


@njit(cache=True)
def colour_pixels(triangle_image, weight_image, shade_image, corner_values, limit, table, out):
    """Coloured, shaded picture, averaged over blocks of pixels.

    Parameters
    ----------
    triangle_image, weight_image : as filled by `fill_depth`
    shade_image : (height, width) float32, factor on the colour, 1 = not darkened
    corner_values : (n_panels, 3) float
    limit : float, the colour table runs from -limit to +limit; values beyond keep its ends
    table : (n_colours, 3) float, 0 to 255
    out : (height / s, width / s, 4) uint8 with s a whole number, written as red, green, blue,
        covered share; the colour is the mean over the covered pixels of the block
    """
    height, width = out.shape[0], out.shape[1]
    step = triangle_image.shape[0] // height
    n_colours = table.shape[0]
    factor = n_colours / (2.0 * limit)
    for row in range(height):
        for column in range(width):
            red, green, blue, count = 0.0, 0.0, 0.0, 0
            for i in range(row * step, (row + 1) * step):
                for j in range(column * step, (column + 1) * step):
                    panel = triangle_image[i, j]
                    if panel < 0:
                        continue
                    w0 = weight_image[i, j, 0]
                    w1 = weight_image[i, j, 1]
                    value = (
                        w0 * corner_values[panel, 0]
                        + w1 * corner_values[panel, 1]
                        + (1.0 - w0 - w1) * corner_values[panel, 2]
                    )
                    position = min(max((value + limit) * factor, 0.0), n_colours - 1.0)
                    entry = int(position)
                    shade = shade_image[i, j]
                    red += shade * table[entry, 0]
                    green += shade * table[entry, 1]
                    blue += shade * table[entry, 2]
                    count += 1
            if count:
                out[row, column, 0] = int(red / count + 0.5)
                out[row, column, 1] = int(green / count + 0.5)
                out[row, column, 2] = int(blue / count + 0.5)
                out[row, column, 3] = int(255.0 * count / (step * step) + 0.5)


@njit(cache=True)
def points_visible(points, owners, triangle_image, corners, tolerance, out):
    """Whether each point on the surface can be seen.

    Parameters
    ----------
    points : (n, 3) float, pixel units: across, up, towards the viewer
    owners : (n,) int, panel on which the point lies, -1 when not known
    triangle_image : (height, width) int32 from `fill_depth`
    corners : (n_panels, 3, 3) float, pixel units
    tolerance : float, pixel units; a panel hides what is further behind it than this
    out : (n,) bool

    Notes
    -----
    The panel seen by the pixel is continued as a plane to the point itself, but not beyond
    its nearest corner, so that a panel seen almost edge-on does not hide its neighbours.
    """
    height, width = triangle_image.shape
    for k in range(points.shape[0]):
        x, y, z = points[k]
        row, column = int(np.floor(y)), int(np.floor(x))
        out[k] = True
        if row < 0 or row >= height or column < 0 or column >= width:
            continue
        panel = triangle_image[row, column]
        if panel < 0 or panel == owners[k]:
            continue
        x0, y0, z0 = corners[panel, 0]
        x1, y1, z1 = corners[panel, 1]
        x2, y2, z2 = corners[panel, 2]
        area = (x1 - x0) * (y2 - y0) - (x2 - x0) * (y1 - y0)
        w0 = ((x1 - x) * (y2 - y) - (x2 - x) * (y1 - y)) / area
        w1 = ((x2 - x) * (y0 - y) - (x0 - x) * (y2 - y)) / area
        cover = w0 * z0 + w1 * z1 + (1.0 - w0 - w1) * z2
        cover = max(min(cover, max(z0, z1, z2)), min(z0, z1, z2))
        out[k] = cover <= z + tolerance


@njit(cache=True)
def crease_normals(triangles, normals, area_vectors, first, members, least_cosine, out):
    """Unit normal at each corner: mean over the panels round the vertex that bend little.

    Parameters
    ----------
    triangles : (n_panels, 3) int
    normals, area_vectors : (n_panels, 3) float
    first : (n_vertices + 1,) int, where each vertex's panels start in `members`
    members : (3 n_panels,) int, panels sorted by vertex
    least_cosine : float, panels that meet at a greater angle are not averaged
    out : (n_panels, 3, 3) float: corner, then component
    """
    for panel in range(triangles.shape[0]):
        nx, ny, nz = normals[panel]
        for corner in range(3):
            vertex = triangles[panel, corner]
            x, y, z = 0.0, 0.0, 0.0
            for k in range(first[vertex], first[vertex + 1]):
                other = members[k]
                cosine = nx * normals[other, 0] + ny * normals[other, 1] + nz * normals[other, 2]
                if cosine >= least_cosine:
                    x += area_vectors[other, 0]
                    y += area_vectors[other, 1]
                    z += area_vectors[other, 2]
            length = np.sqrt(x * x + y * y + z * z)
            if length == 0.0:
                x, y, z, length = nx, ny, nz, 1.0
            out[panel, corner, 0] = x / length
            out[panel, corner, 1] = y / length
            out[panel, corner, 2] = z / length


@njit(cache=True)
def follow_chains(following, preceded, order, starts):
    """Order of segments along their chains; returns the number of chains.

    Parameters
    ----------
    following : (n,) int, the segment that starts where this one ends, -1 for none
    preceded : (n,) bool, whether another segment ends where this one starts
    order : (n,) int, filled: segments chain after chain
    starts : (n + 1,) int, filled: where each chain starts in `order`, then n

    Notes
    -----
    Open chains first, then closed ones, each in the order of their first segment.
    """
    n = following.shape[0]
    used = np.zeros(n, dtype=np.bool_)
    count, chains = 0, 0
    for closed in range(2):
        for k in range(n):
            if used[k] or (closed == 0 and preceded[k]):
                continue
            starts[chains] = count
            chains += 1
            segment = k
            while segment >= 0 and not used[segment]:
                used[segment] = True
                order[count] = segment
                count += 1
                segment = following[segment]
    starts[chains] = count
    return chains


@njit(cache=True)
def hatch_pieces(image, pixels, frame, free, look, counts, out):
    """Pieces of parallel lines that lie over chosen pixels.

    Parameters
    ----------
    image : (height, width) bool
    pixels : (4,) float: column and row at the corner of the paper, columns and rows per point
    frame : (4,) float, points: left, lower, right, upper border of what is looked at
    free : (n, 4) float, points: boxes that stay free
    look : (8,) float: direction along (2) and across (2) the lines, distance of the lines,
        distance of the places looked at, length of a dash, distance of two dashes; points
    counts : (4,) int: first and last line, first and last place along it
    out : (room, 2, 2) float, points, filled: both ends of each piece

    Returns
    -------
    int, the number of pieces; those that have no room in `out` are counted only
    """
    height, width = image.shape
    spacing, step, dash, period = look[4], look[5], look[6], look[7]
    found = 0
    for line in range(counts[0], counts[1] + 1):
        x0, y0 = line * spacing * look[2], line * spacing * look[3]
        shift = 0.5 * period * (line % 2)
        began, length = False, 0
        for place in range(counts[2], counts[3] + 2):
            way = place * step
            x, y = x0 + way * look[0], y0 + way * look[1]
            drawn = place <= counts[3]
            drawn = drawn and frame[0] < x < frame[2] and frame[1] < y < frame[3]
            drawn = drawn and (dash >= period or (way + shift) % period < dash)
            if drawn:
                column = int(np.floor(pixels[0] + pixels[2] * x))
                row = int(np.floor(pixels[1] + pixels[3] * y))
                drawn = 0 <= column < width and 0 <= row < height and image[row, column]
            if drawn:
                for k in range(free.shape[0]):
                    if free[k, 0] < x < free[k, 2] and free[k, 1] < y < free[k, 3]:
                        drawn = False
                        break
            if drawn:
                length = length + 1 if began else 0
                began = True
            elif began:
                began = False
                if length > 0:
                    if found < out.shape[0]:
                        last = (place - 1) * step
                        first = last - length * step
                        out[found, 0, 0] = x0 + first * look[0]
                        out[found, 0, 1] = y0 + first * look[1]
                        out[found, 1, 0] = x0 + last * look[0]
                        out[found, 1, 1] = y0 + last * look[1]
                    found += 1
    return found


@njit(cache=True)
def lay_over(page, picture, left, top):
    """Lay a picture onto a page.

    Parameters
    ----------
    page : (height, width, 3 or more) uint8, uppermost row first; changed
    picture : (rows, columns, 4) uint8, red, green, blue, covered share; row 0 is the lowest
    left, top : int, column and row of the page where the picture's upper left corner goes
    """
    rows, columns = picture.shape[0], picture.shape[1]
    for i in range(max(0, -top), min(rows, page.shape[0] - top)):
        for j in range(max(0, -left), min(columns, page.shape[1] - left)):
            share = int(picture[rows - 1 - i, j, 3])
            if share == 0:
                continue
            for k in range(3):
                below = int(page[top + i, left + j, k])
                above = int(picture[rows - 1 - i, j, k])
                mixed = (share * above + (255 - share) * below + 127) // 255
                page[top + i, left + j, k] = mixed


@njit(cache=True)
def rows_less_neighbours(pixels, out):
    """Rows of a picture less what their neighbours let expect, as PNG packs them.

    Parameters
    ----------
    pixels : (height, width, 3 or more) uint8
    out : (height, 3 width + 1) uint8, filled: 4, the number of this filter, then red, green and
        blue, each less the one of left, upper and upper left neighbour (0 outside) that is
        nearest to left + upper - upper left; modulo 256
    """
    for row in range(pixels.shape[0]):
        out[row, 0] = 4
        for column in range(pixels.shape[1]):
            for k in range(3):
                left = int(pixels[row, column - 1, k]) if column > 0 else 0
                upper = int(pixels[row - 1, column, k]) if row > 0 else 0
                corner = int(pixels[row - 1, column - 1, k]) if row > 0 and column > 0 else 0
                to_left, to_upper = abs(upper - corner), abs(left - corner)
                to_corner = abs(left + upper - 2 * corner)
                if to_left <= to_upper and to_left <= to_corner:
                    expected = left
                elif to_upper <= to_corner:
                    expected = upper
                else:
                    expected = corner
                out[row, 3 * column + 1 + k] = (int(pixels[row, column, k]) - expected) & 255
