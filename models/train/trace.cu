// GPU build: nvcc -O3 --use_fast_math -arch=native -shared -Xcompiler -fPIC trace.cu -o libtrace.so
#include "trace.h"
#include <stdio.h>
__global__ void kernel(const Scene *scenes, const Cell *cells, const Prim *prims, const uint8_t *tex, float *out, int width, int height, int spp, int seed) {
  int x = blockIdx.x * 16 + threadIdx.x, y = blockIdx.y * 8 + threadIdx.y, i = blockIdx.z;
  if (x >= width || y >= height) return;
  World W; W.S = scenes + i; W.cells = cells + (size_t)i * GRID * GRID; W.prims = prims + (size_t)i * MAXPRIM; W.tex = tex;
  pixel(W, x, y, width, spp, hash32(seed * 7919 + i), out + (((size_t)i * height + y) * width + x) * 3);
}
extern "C" int trace_sizes(int k) { return k == 0 ? (int)sizeof(Scene) : k == 1 ? (int)sizeof(Cell) : (int)sizeof(Prim); }
extern "C" void trace_render(const void *scenes, const void *cells, const void *prims, const uint8_t *tex, float *out, int n, int width, int height, int spp, int seed) {
  dim3 b(16, 8, 1), g((width + 15) / 16, (height + 7) / 8, n);
  kernel<<<g, b>>>((const Scene *)scenes, (const Cell *)cells, (const Prim *)prims, tex, out, width, height, spp, seed);
  cudaError_t e = cudaGetLastError(); if (e != cudaSuccess) printf("trace: %s\n", cudaGetErrorString(e));
}
