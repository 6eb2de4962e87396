// cgalcheck tells, with CGAL 5.5 (www.cgal.org), how two closed meshes lie to one
// another. Usage: cgalcheck A.off B.off
//
// It prints the volume that both fill, from exact-predicate corefinement, and the
// least distance between their surfaces, over every pair of triangles.

#include <CGAL/Exact_predicates_inexact_constructions_kernel.h>
#include <CGAL/Polygon_mesh_processing/corefinement.h>
#include <CGAL/Polygon_mesh_processing/measure.h>
#include <CGAL/Surface_mesh.h>

#include <algorithm>
#include <cmath>
#include <fstream>
#include <iomanip>
#include <iostream>
#include <limits>
#include <vector>

using Kernel = CGAL::Exact_predicates_inexact_constructions_kernel;
using Mesh = CGAL::Surface_mesh<Kernel::Point_3>;
namespace PMP = CGAL::Polygon_mesh_processing;

static std::vector<Kernel::Triangle_3> trianglesOf(const Mesh &m) {
  std::vector<Kernel::Triangle_3> out;
  for (auto f : m.faces()) {
    auto h = m.halfedge(f);
    out.emplace_back(m.point(m.source(h)), m.point(m.target(h)), m.point(m.target(m.next(h))));
  }
  return out;
}

int main(int argc, char **argv) {
  if (argc != 3) {
    std::cerr << "usage: cgalcheck A.off B.off\n";
    return 2;
  }
  Mesh mesh[2];
  for (int n = 0; n < 2; n++) {
    std::ifstream in(argv[n + 1]);
    if (!(in >> mesh[n]) || !CGAL::is_closed(mesh[n]) || !CGAL::is_triangle_mesh(mesh[n])) {
      std::cerr << argv[n + 1] << ": not a closed mesh of triangles\n";
      return 1;
    }
  }
  double least = std::numeric_limits<double>::infinity();
  for (const auto &a : trianglesOf(mesh[0]))
    for (const auto &b : trianglesOf(mesh[1]))
      least = std::min(least, CGAL::to_double(CGAL::squared_distance(a, b)));
  Mesh both;
  if (!PMP::corefine_and_compute_intersection(mesh[0], mesh[1], both)) {
    std::cerr << "the intersection is no manifold\n";
    return 1;
  }
  std::cout << std::setprecision(12) << "volume " << (both.is_empty() ? 0.0 : CGAL::to_double(PMP::volume(both)))
            << "\ndistance " << std::sqrt(least) << "\n";
  return 0;
}
