// CPU build: g++ -O3 -march=native -ffast-math -fopenmp -shared -fPIC trace.cpp -o libtrace.so
#include "trace.h"
extern "C" int trace_sizes(int k) { return k == 0 ? (int)sizeof(Scene) : k == 1 ? (int)sizeof(Cell) : (int)sizeof(Prim); }
extern "C" void trace_render(const void *scenes, const void *cells, const void *prims, const uint8_t *tex, float *out, int n, int width, int height, int spp, int seed) {
#pragma omp parallel for schedule(dynamic, 4)
  for (int row = 0; row < n * height; row++) {
    int i = row / height, y = row % height; World W; W.S = (const Scene *)scenes + i; W.cells = (const Cell *)cells + (size_t)i * GRID * GRID; W.prims = (const Prim *)prims + (size_t)i * MAXPRIM; W.tex = tex;
    for (int x = 0; x < width; x++) pixel(W, x, y, width, spp, hash32(seed * 7919 + i), out + (((size_t)i * height + y) * width + x) * 3);
  }
}
