// Reads a centre of mass and points, three numbers each, and prints what CGAL says of
// their convex hull: corners, area, volume, and for each triangle that a solid with
// that centre would rest on "rest", its normal and its area.
//
// A solid rests on a side where no other side is nearer to its centre of mass along
// that side's normal: the foot of the perpendicular then lies in the side.
#include <CGAL/Exact_predicates_inexact_constructions_kernel.h>
#include <CGAL/Surface_mesh.h>
#include <CGAL/convex_hull_3.h>
#include <cmath>
#include <cstdio>
#include <vector>

typedef CGAL::Exact_predicates_inexact_constructions_kernel Kernel;
typedef Kernel::Point_3 Point;
typedef Kernel::Vector_3 Vector;
typedef CGAL::Surface_mesh<Point> Mesh;

int main() {
  double x, y, z;
  if (std::scanf("%lf %lf %lf", &x, &y, &z) != 3) return 2;
  const Point centre(x, y, z);
  std::vector<Point> points;
  while (std::scanf("%lf %lf %lf", &x, &y, &z) == 3) points.push_back(Point(x, y, z));
  Mesh hull;
  CGAL::convex_hull_3(points.begin(), points.end(), hull);

  struct Side { Vector normal; double distance, area; };
  std::vector<Side> sides;
  double area = 0, volume = 0;
  for (Mesh::Face_index f : hull.faces()) {
    std::vector<Point> c;
    for (Mesh::Vertex_index v : CGAL::vertices_around_face(hull.halfedge(f), hull)) c.push_back(hull.point(v));
    for (size_t i = 2; i < c.size(); i++) {
      const Vector n = CGAL::cross_product(c[i - 1] - c[0], c[i] - c[0]);
      const double twice = std::sqrt(n.squared_length());
      if (twice == 0) continue;
      Side s = {n / twice, 0, twice / 2};
      s.distance = s.normal * (c[0] - centre);
      area += s.area;
      volume += s.area * s.distance / 3;
      sides.push_back(s);
    }
  }
  std::printf("corners %zu\narea %.17g\nvolume %.17g\n", (size_t)hull.number_of_vertices(), area, volume);
  for (const Side &s : sides) {
    bool nearest = true;
    for (const Side &o : sides) {
      const double along = s.normal * o.normal;
      if (along > 0 && o.distance < (s.distance - 1e-6) * along) { nearest = false; break; }
    }
    if (nearest) std::printf("rest %.17g %.17g %.17g %.17g\n", s.normal.x(), s.normal.y(), s.normal.z(), s.area);
  }
  return 0;
}
