// A small path tracer for one thing: a plate on a table with cubes, taps, leads and real parts on it.
// The same source is built for a GPU (nvcc) and for a CPU (g++ with OpenMP).
// Units: one cell = 1. x to the right (E), y down the photo (S), z up from the plate's top (z = 0).
#pragma once
#include <math.h>
#include <stdint.h>
#ifdef __CUDACC__
#define HD __host__ __device__ __forceinline__
#else
#define HD static inline
static inline float rsqrtf(float x) { return 1.0f / sqrtf(x); }
#endif

#define GRID 18          // cells a side in a scene's grid
#define MAXPRIM 224
#define GROUP 8          // prims that share a box; rays that miss it miss them all
#define NGROUP (MAXPRIM / GROUP)
#define TEX_N 160

struct V { float x, y, z; };
HD V v3(float a, float b, float c) { V r; r.x = a; r.y = b; r.z = c; return r; }
HD V operator+(V a, V b) { return v3(a.x + b.x, a.y + b.y, a.z + b.z); }
HD V operator-(V a, V b) { return v3(a.x - b.x, a.y - b.y, a.z - b.z); }
HD V operator*(V a, float s) { return v3(a.x * s, a.y * s, a.z * s); }
HD V operator*(V a, V b) { return v3(a.x * b.x, a.y * b.y, a.z * b.z); }
HD float dot(V a, V b) { return a.x * b.x + a.y * b.y + a.z * b.z; }
HD V cross(V a, V b) { return v3(a.y * b.z - a.z * b.y, a.z * b.x - a.x * b.z, a.x * b.y - a.y * b.x); }
HD V unit(V a) { float n = rsqrtf(fmaxf(dot(a, a), 1e-20f)); return a * n; }
HD V mix(V a, V b, float t) { return a * (1 - t) + b * t; }
HD float clampf(float x, float a, float b) { return fminf(fmaxf(x, a), b); }
HD float sstep(float a, float b, float x) { float t = clampf((x - a) / (b - a), 0, 1); return t * t * (3 - 2 * t); }

struct Prim {            // 0 none, 1 vertical cylinder, 2 dome (half ellipsoid), 3 ring with hole, 4 capsule p-q, 5 box, 6 box with a printed top: pad is its label, metal how bright its ink is
  int type; float px, py, pz, qx, qy, qz, r, r2; float cr, cg, cb; float rough, metal, glow, pad;
};
struct Cell {            // label < 0: empty
  int label, turn; float top[3], side[3], ink[3], acc[3], pan[3]; float rough, spec; int pads; float lift;
};
struct Scene {           // every member is 4 bytes wide; models/train/scenes.py mirrors this layout
  int cols, rows; float h, gap, bevel, corner, margin, plate_r, plate_t;
  int mode;              // 0 camera, 1 straight onto the plane of the tops (A maps pixels to cells)
  float cam[3], ex[3], ey[3], ez[3]; float f, cx, cy, k1, aperture, focus;
  float A[6];
  float plate[3], plate2[3]; float plate_rough, plate_spec, brushed; int plate_pat; float pat_col[3], pat_a, pat_w; int holes;
  int table; float tab1[3], tab2[3], tab_scale, tab_ang, tab_rough;
  int nlight; float ldir[3][3]; float lcol[3][3]; float lsize[3]; float lbox[3]; // lbox: window-like square glow
  float sky[3], horizon[3], sidecol[3]; float env_seed, env_con;
  float shadow_edge[4];  // a far edge that shades part of the table: n.x, n.y, offset, strength
  int nprim; int nlead_from; int marker[4]; float marker_size; float wear, grain; int seed;
  int tap_first;
  float group[NGROUP][6]; // lowest x y z, highest x y z
};
struct Hit { float t; V n; int what; int idx; float u, v; };   // what: 0 none 1 top 2 side 3 plate 4 table 5 prim 6 plate edge

HD uint32_t hash32(uint32_t x) { x ^= x >> 16; x *= 0x7feb352dU; x ^= x >> 15; x *= 0x846ca68bU; x ^= x >> 16; return x; }
HD float rnd(uint32_t *s) { *s = hash32(*s + 0x9e3779b9U); return (*s >> 8) * (1.0f / 16777216.0f); }
HD float hash2(int x, int y, int s) { return (hash32((uint32_t)x * 73856093U ^ (uint32_t)y * 19349663U ^ (uint32_t)s * 83492791U) >> 8) * (1.0f / 16777216.0f); }
HD float noise2(float x, float y, int s) {
  float fx = floorf(x), fy = floorf(y); int ix = (int)fx, iy = (int)fy; float u = x - fx, v = y - fy;
  u = u * u * (3 - 2 * u); v = v * v * (3 - 2 * v);
  float a = hash2(ix, iy, s), b = hash2(ix + 1, iy, s), c = hash2(ix, iy + 1, s), d = hash2(ix + 1, iy + 1, s);
  return a + (b - a) * u + (c - a) * v + (a - b - c + d) * u * v;
}
HD float fbm(float x, float y, int s, int n) {
  float r = 0, a = 0.5f; for (int i = 0; i < n; i++) { r += a * noise2(x, y, s + i * 17); x *= 2.03f; y *= 2.03f; a *= 0.5f; } return r;
}

HD bool box_hit(V o, V d, float x0, float x1, float y0, float y1, float z0, float z1, float tmax, float *t, V *n) {
  float ta = 1e-4f, tb = tmax; int ax = -1; float sg = 0;
  const float O[3] = {o.x, o.y, o.z}, D[3] = {d.x, d.y, d.z}, L[3] = {x0, y0, z0}, H[3] = {x1, y1, z1};
  for (int i = 0; i < 3; i++) {
    if (fabsf(D[i]) < 1e-9f) { if (O[i] < L[i] || O[i] > H[i]) return false; continue; }
    float inv = 1.0f / D[i], a = (L[i] - O[i]) * inv, b = (H[i] - O[i]) * inv; float s = -1;
    if (a > b) { float c = a; a = b; b = c; s = 1; }
    if (a > ta) { ta = a; ax = i; sg = s; }
    if (b < tb) tb = b;
    if (ta > tb) return false;
  }
  if (ax < 0) return false;
  *t = ta; *n = v3(ax == 0 ? sg : 0, ax == 1 ? sg : 0, ax == 2 ? sg : 0); return true;
}
HD bool capsule_hit(V o, V d, V a, V b, float r, float tmax, float *t, V *n) {
  V ba = b - a, oa = o - a; float baba = dot(ba, ba), bard = dot(ba, d), baoa = dot(ba, oa), rdoa = dot(d, oa), oaoa = dot(oa, oa);
  float A = baba - bard * bard, B = baba * rdoa - baoa * bard, C = baba * oaoa - baoa * baoa - r * r * baba, h = B * B - A * C;
  if (h < 0) return false;
  float tt = (A > 1e-9f) ? (-B - sqrtf(h)) / A : -1; float y = baoa + tt * bard;
  if (!(A > 1e-9f && y > 0 && y < baba)) {
    V oc = y <= 0 ? oa : o - b; B = dot(d, oc); C = dot(oc, oc) - r * r; h = B * B - C; if (h < 0) return false; tt = -B - sqrtf(h);
    y = y <= 0 ? 0 : baba;
  }
  if (tt < 1e-4f || tt > tmax) return false;
  V p = o + d * tt; *t = tt; *n = unit(p - (a + ba * (y / fmaxf(baba, 1e-9f)))); return true;
}
HD bool prim_hit(const Prim &P, V o, V d, float tmax, float *t, V *n) {
  if (P.type == 4) return capsule_hit(o, d, v3(P.px, P.py, P.pz), v3(P.qx, P.qy, P.qz), P.r, tmax, t, n);
  if (P.type >= 5) {   // box turned by angle r about the vertical through p; half sizes qx qy, top pz, bottom qz
    float c = cosf(P.r), s = sinf(P.r); V q = o - v3(P.px, P.py, 0);
    V oo = v3(c * q.x + s * q.y, -s * q.x + c * q.y, q.z), dd = v3(c * d.x + s * d.y, -s * d.x + c * d.y, d.z), nn;
    if (!box_hit(oo, dd, -P.qx, P.qx, -P.qy, P.qy, P.qz, P.pz, tmax, t, &nn)) return false;
    *n = v3(c * nn.x - s * nn.y, s * nn.x + c * nn.y, nn.z); return true;
  }
  if (P.type == 1 || P.type == 3) {   // cylinder from pz up to qz; type 3 has a dark hole of radius r2 in its top
    float ox = o.x - P.px, oy = o.y - P.py; bool ok = false; float best = tmax;
    if (fabsf(d.z) > 1e-9f) {
      float a = (P.qz - o.z) / d.z, x = ox + a * d.x, y = oy + a * d.y;
      if (a > 1e-4f && a < best && x * x + y * y < P.r * P.r) { best = a; *n = v3(0, 0, 1); ok = true; }
    }
    float A = d.x * d.x + d.y * d.y, B = ox * d.x + oy * d.y, C = ox * ox + oy * oy - P.r * P.r, h = B * B - A * C;
    if (h > 0 && A > 1e-9f) {
      float a = (-B - sqrtf(h)) / A, z = o.z + a * d.z;
      if (a > 1e-4f && a < best && z > P.pz && z < P.qz) { best = a; *n = unit(v3(ox + a * d.x, oy + a * d.y, 0)); ok = true; }
    }
    if (ok) *t = best; return ok;
  }
  if (P.type == 2) {   // dome: upper half of an ellipsoid, radius r, height qz - pz
    float k = P.r / fmaxf(P.qz - P.pz, 1e-4f); V oo = v3(o.x - P.px, o.y - P.py, (o.z - P.pz) * k), dd = v3(d.x, d.y, d.z * k);
    float A = dot(dd, dd), B = dot(oo, dd), C = dot(oo, oo) - P.r * P.r, h = B * B - A * C; if (h < 0) return false;
    float a = (-B - sqrtf(h)) / A; if (a < 1e-4f || a > tmax) return false;
    if (oo.z + a * dd.z < 0) return false;
    *t = a; V q = oo + dd * a; *n = unit(v3(q.x, q.y, q.z * k)); return true;
  }
  return false;
}

struct World { const Scene *S; const Cell *cells; const Prim *prims; const uint8_t *tex; };

HD bool in_plate(const Scene &S, float x, float y) {
  float cx = S.cols * 0.5f, cy = S.rows * 0.5f, hx = cx + S.margin, hy = cy + S.margin, r = S.plate_r;
  float dx = fabsf(x - cx) - (hx - r), dy = fabsf(y - cy) - (hy - r);
  if (dx > r || dy > r) return false;
  if (dx > 0 && dy > 0) return dx * dx + dy * dy < r * r;
  return true;
}
// cubes: step through the grid along the ray between z = h and z = 0
HD bool cubes_hit(const World &W, V o, V d, float tmax, Hit *H) {
  const Scene &S = *W.S; float hmax = S.h * 1.04f;
  float t0 = 1e-4f, t1 = tmax;
  if (fabsf(d.z) > 1e-9f) { float a = (hmax - o.z) / d.z, b = (0 - o.z) / d.z; if (a > b) { float c = a; a = b; b = c; } t0 = fmaxf(t0, a); t1 = fminf(t1, b); }
  else if (o.z > hmax) return false;
  if (t0 > t1) return false;
  V p = o + d * t0; int ix = (int)floorf(p.x), iy = (int)floorf(p.y);
  int sx = d.x > 0 ? 1 : -1, sy = d.y > 0 ? 1 : -1;
  float tx = fabsf(d.x) > 1e-9f ? ((ix + (sx > 0)) - o.x) / d.x : 1e30f, ty = fabsf(d.y) > 1e-9f ? ((iy + (sy > 0)) - o.y) / d.y : 1e30f;
  float ddx = fabsf(d.x) > 1e-9f ? fabsf(1 / d.x) : 1e30f, ddy = fabsf(d.y) > 1e-9f ? fabsf(1 / d.y) : 1e30f;
  for (int k = 0; k < 40; k++) {
    if (ix >= 0 && iy >= 0 && ix < S.cols && iy < S.rows) {
      const Cell &C = W.cells[iy * GRID + ix];
      if (C.label >= 0) {
        float t; V n; float g = S.gap * 0.5f;
        if (box_hit(o, d, ix + g, ix + 1 - g, iy + g, iy + 1 - g, 0, S.h + C.lift, tmax, &t, &n)) {
          H->t = t; H->n = n; H->what = n.z > 0.5f ? 1 : 2; H->idx = iy * GRID + ix; return true;
        }
      }
    } else if ((ix < 0 && sx < 0) || (iy < 0 && sy < 0) || (ix >= S.cols && sx > 0) || (iy >= S.rows && sy > 0)) return false;
    if (tx < ty) { if (tx > t1) return false; ix += sx; tx += ddx; } else { if (ty > t1) return false; iy += sy; ty += ddy; }
  }
  return false;
}
HD Hit trace(const World &W, V o, V d, float tmax, bool any) {
  const Scene &S = *W.S; Hit H; H.t = tmax; H.what = 0; H.idx = 0; H.n = v3(0, 0, 1);
  Hit c; if (cubes_hit(W, o, d, H.t, &c)) { H = c; if (any) return H; }
  float ix = 1.0f / (fabsf(d.x) > 1e-9f ? d.x : 1e-9f), iy = 1.0f / (fabsf(d.y) > 1e-9f ? d.y : 1e-9f), iz = 1.0f / (fabsf(d.z) > 1e-9f ? d.z : 1e-9f);
  for (int g = 0; g * GROUP < S.nprim; g++) {
    const float *B = S.group[g];
    float x0 = (B[0] - o.x) * ix, x1 = (B[3] - o.x) * ix, y0 = (B[1] - o.y) * iy, y1 = (B[4] - o.y) * iy, z0 = (B[2] - o.z) * iz, z1 = (B[5] - o.z) * iz;
    float in = fmaxf(fmaxf(fminf(x0, x1), fminf(y0, y1)), fminf(z0, z1)), out = fminf(fminf(fmaxf(x0, x1), fmaxf(y0, y1)), fmaxf(z0, z1));
    if (in > out || out < 0 || in > H.t) continue;
    int last = (g + 1) * GROUP < S.nprim ? (g + 1) * GROUP : S.nprim;
    for (int i = g * GROUP; i < last; i++) {
      const Prim &P = W.prims[i]; float t; V n;
      if (prim_hit(P, o, d, H.t, &t, &n)) { H.t = t; H.n = n; H.what = 5; H.idx = i; if (any) return H; }
    }
  }
  if (any) return H;
  if (d.z < -1e-6f) {
    float a = -o.z / d.z; V p = o + d * a;
    if (a > 1e-4f && a < H.t && in_plate(S, p.x, p.y)) { H.t = a; H.n = v3(0, 0, 1); H.what = 3; }
    else {
      float b = (-S.plate_t - o.z) / d.z; V q = o + d * b;
      if (b > 1e-4f && b < H.t) {
        if (in_plate(S, q.x, q.y)) { H.t = b; H.what = 6; H.n = unit(v3(-d.x, -d.y, 0.2f)); }
        else { H.t = b; H.what = 4; H.n = v3(0, 0, 1); }
      }
    }
  }
  return H;
}
HD V texture(const World &W, int label, float u, float v) {   // bilinear, 3 coverages
  float x = clampf(u * TEX_N - 0.5f, 0, TEX_N - 1.001f), y = clampf(v * TEX_N - 0.5f, 0, TEX_N - 1.001f); int ix = (int)x, iy = (int)y; float a = x - ix, b = y - iy;
  const uint8_t *p = W.tex + ((size_t)label * TEX_N * TEX_N + (size_t)iy * TEX_N + ix) * 3; const uint8_t *q = p + TEX_N * 3; float r[3];
  for (int k = 0; k < 3; k++) r[k] = ((p[k] * (1 - a) + p[k + 3] * a) * (1 - b) + (q[k] * (1 - a) + q[k + 3] * a) * b) * (1 / 255.0f);
  return v3(r[0], r[1], r[2]);
}
HD V f3(const float *p) { return v3(p[0], p[1], p[2]); }

HD V env(const Scene &S, V d, bool lights) {
  float up = d.z; V c = up > 0 ? mix(f3(S.horizon), f3(S.sky), sqrtf(up)) : f3(S.horizon) * 0.4f;
  float az = atan2f(d.y, d.x);
  c = c + f3(S.sidecol) * (0.5f + 0.5f * cosf(az - S.env_seed)) * (1 - fabsf(up)) ;
  if (S.env_con > 0) { float n = fbm(az * 1.6f + 7, up * 4 + 3, S.seed, 3); c = c * (1 + S.env_con * (n - 0.45f) * 3); c = v3(fmaxf(c.x, 0.01f), fmaxf(c.y, 0.01f), fmaxf(c.z, 0.01f)); }
  if (lights) for (int i = 0; i < S.nlight; i++) {
    V l = f3(S.ldir[i]); float s = S.lsize[i]; float cs = dot(d, l); if (cs <= 0) continue;
    float e;
    if (S.lbox[i] > 0) { V a = unit(cross(l, v3(0, 0, 1))), b = cross(l, a); float x = dot(d, a) / cs, y = dot(d, b) / cs; e = sstep(s * 1.15f, s * 0.95f, fabsf(x)) * sstep(s * 1.15f, s * 0.95f, fabsf(y)); if (S.lbox[i] > 1.5f) e *= sstep(0.02f, 0.05f, fabsf(x)); }
    else e = sstep(s * 1.2f, s * 0.8f, acosf(clampf(cs, -1, 1)));
    if (e > 0) c = c + f3(S.lcol[i]) * (e / (3.14159f * s * s + 1e-3f));
  }
  return c;
}
struct Mat { V alb; float rough, spec, metal; V n; V glow; };

HD Mat material(const World &W, const Hit &H, V p, V d) {
  const Scene &S = *W.S; Mat m; m.rough = 0.5f; m.spec = 0.04f; m.metal = 0; m.n = H.n; m.alb = v3(0.5f, 0.5f, 0.5f); m.glow = v3(0, 0, 0);
  if (H.what == 1 || H.what == 2) {
    const Cell &C = W.cells[H.idx]; int ix = H.idx % GRID, iy = H.idx / GRID; float u = p.x - ix, v = p.y - iy;
    m.rough = C.rough; m.spec = C.spec; float g = S.gap * 0.5f;
    if (H.what == 1) {
      float a = (u - g) / (1 - 2 * g), b = (v - g) / (1 - 2 * g), ua = a, va = b;
      for (int k = 0; k < C.turn; k++) { float w = ua; ua = va; va = 1 - w; }
      V q = texture(W, C.label, ua, va);
      V c = mix(f3(C.top), f3(C.pan), q.z); c = mix(c, f3(C.acc), q.y);
      float ink = q.x;
      if (S.wear > 0) ink *= 1 - S.wear * sstep(0.5f, 0.8f, fbm(u * 9 + ix * 13.1f, v * 9 + iy * 7.7f, S.seed + 5, 4));
      c = mix(c, f3(C.ink), ink);
      if (S.grain > 0) c = c * (1 + S.grain * (noise2(u * 90, v * 90, S.seed + H.idx) - 0.5f) + S.grain * 0.8f * (fbm(u * 4 + ix, v * 4 + iy, S.seed + 9, 3) - 0.45f));
      m.alb = c;
      float bev = S.bevel; float e0 = a * (1 - 2 * g), e1 = (1 - a) * (1 - 2 * g), e2 = b * (1 - 2 * g), e3 = (1 - b) * (1 - 2 * g);
      V n = v3(0, 0, 1);
      if (bev > 1e-4f) {
        if (e0 < bev) n.x -= (1 - e0 / bev) * 0.9f; if (e1 < bev) n.x += (1 - e1 / bev) * 0.9f;
        if (e2 < bev) n.y -= (1 - e2 / bev) * 0.9f; if (e3 < bev) n.y += (1 - e3 / bev) * 0.9f;
        if (fminf(fminf(e0, e1), fminf(e2, e3)) < bev * 0.7f) m.alb = mix(m.alb, f3(C.side), 0.7f);
      }
      m.n = unit(n);
    } else {
      m.alb = f3(C.side); int side = H.n.x > 0.5f ? 1 : H.n.x < -0.5f ? 3 : H.n.y > 0.5f ? 2 : 0;
      if (C.pads & (1 << side)) { float w = (side & 1) ? v : u; if (fabsf(w - 0.5f) < 0.11f && p.z > S.h * 0.35f && p.z < S.h * 0.35f + 0.2f) { m.alb = v3(0.75f, 0.6f, 0.2f); m.metal = 0.8f; m.spec = 0.6f; m.rough = 0.35f; } }
    }
  } else if (H.what == 3) {
    V c = f3(S.plate); m.rough = S.plate_rough; m.spec = S.plate_spec; m.metal = S.plate_spec > 0.3f ? 1.0f : 0.0f;
    c = mix(c, f3(S.plate2), 0.6f * fbm(p.x * 0.7f, p.y * 0.7f, S.seed + 31, 4));
    if (S.brushed > 0) {
      float nx = S.brushed > 1 ? p.y : p.x, ny = S.brushed > 1 ? p.x : p.y;
      float w = noise2(nx * 1.2f, ny * 130, S.seed + 3) - 0.5f; c = c * (1 + 0.35f * w); float k = 0.07f * w; m.n = unit(v3(S.brushed > 1 ? k : 0, S.brushed > 1 ? 0 : k, 1)); }
    else { c = c * (1 + 0.08f * (noise2(p.x * 60, p.y * 60, S.seed + 3) - 0.5f)); }
    if (S.plate_pat) {
      float fx = p.x - floorf(p.x + 0.5f), fy = p.y - floorf(p.y + 0.5f), w = S.pat_w; bool on = false;
      bool inside = p.x > -0.02f && p.y > -0.02f && p.x < S.cols + 0.02f && p.y < S.rows + 0.02f;
      if (S.plate_pat == 1) on = fabsf(fx) < w || fabsf(fy) < w;
      else if (S.plate_pat == 2) on = fx * fx + fy * fy < 9 * w * w;
      else if (S.plate_pat == 3) on = (fabsf(fx) < w && fabsf(fy) < 0.14f) || (fabsf(fy) < w && fabsf(fx) < 0.14f);
      else if (S.plate_pat == 4) { float gx = p.x - floorf(p.x) - 0.5f, gy = p.y - floorf(p.y) - 0.5f; on = fmaxf(fabsf(gx), fabsf(gy)) < 0.42f && fmaxf(fabsf(gx), fabsf(gy)) > 0.42f - 2 * w; }
      if (on && inside) c = mix(c, f3(S.pat_col), S.pat_a);
    }
    float hx = S.cols + S.margin, hy = S.rows + S.margin;
    if (S.holes) { float e = S.margin < 0.3f ? 0.22f : S.margin * 0.6f; float x = fminf(p.x + S.margin, hx - p.x), y = fminf(p.y + S.margin, hy - p.y); float r = hypotf(x - e, y - e); if (r < 0.11f) { c = v3(0.01f, 0.01f, 0.01f); m.spec = 0; } }
    for (int k = 0; k < 4; k++) if (S.marker[k] >= 0) {
      float s = S.marker_size, e = S.margin * 0.5f; float cx = (k == 0 || k == 3) ? -e : S.cols + e, cy = k < 2 ? -e : S.rows + e;
      float u = (p.x - cx) / s + 0.5f, v = (p.y - cy) / s + 0.5f;
      if (u > 0 && v > 0 && u < 1 && v < 1) { V q = texture(W, S.marker[k], u, v); c = mix(v3(0.85f, 0.85f, 0.83f), v3(0.02f, 0.02f, 0.02f), q.x); m.rough = 0.6f; m.spec = 0.04f; m.metal = 0; m.n = v3(0, 0, 1); }
    }
    m.alb = c;
  } else if (H.what == 6) { m.alb = f3(S.plate) * 0.6f; m.rough = 0.4f; m.spec = 0.1f; }
  else if (H.what == 4) {
    float c = cosf(S.tab_ang), s = sinf(S.tab_ang), x = (c * p.x + s * p.y) * S.tab_scale, y = (-s * p.x + c * p.y) * S.tab_scale; float k = 0.5f;
    if (S.table == 0) k = fbm(x, y, S.seed, 3);
    else if (S.table == 1) { float w = x * 0.12f + 0.8f * fbm(x * 0.05f, y * 0.6f, S.seed, 3); k = 0.6f * noise2(w * 0.8f, y * 3.2f + 6 * fbm(x * 0.1f, y * 0.2f, S.seed + 4, 2), S.seed) + 0.4f * noise2(x * 0.3f, y * 22, S.seed + 1); float pl = y * 0.14f; k = k * 0.85f + 0.15f * hash2((int)floorf(pl), 3, S.seed); if (pl - floorf(pl) < 0.012f) k *= 0.4f; }
    else if (S.table == 2) { float fx = x * 6, fy = y * 6; int ix = (int)floorf(fx), iy = (int)floorf(fy); float u = fx - ix - 0.5f, v = fy - iy - 0.5f; k = ((ix + iy) & 1) ? 1 - fabsf(u) : 1 - fabsf(v); k = k * 0.6f + 0.4f * noise2(fx * 2, fy * 2, S.seed); }
    else if (S.table == 3) { float fx = x - floorf(x), fy = y - floorf(y); k = (fx < 0.04f || fy < 0.04f) ? 1.0f : 0.1f + 0.15f * noise2(x * 3, y * 3, S.seed); }
    else if (S.table == 4) k = sstep(0.45f, 0.55f, fbm(x * 0.5f, y * 0.5f, S.seed, 5));
    else if (S.table == 5) { float fx = x * 0.5f - floorf(x * 0.5f); k = fx < 0.5f ? 0.15f : 0.85f; }
    else { int ix = (int)floorf(x * 0.7f), iy = (int)floorf(y * 0.7f); k = hash2(ix, iy, S.seed); }
    m.alb = mix(f3(S.tab1), f3(S.tab2), clampf(k, 0, 1)); m.rough = S.tab_rough; m.spec = 0.04f;
    // sheets of paper with lines of print or squares
    for (int i = 0; i < 2; i++) {
      float h1 = hash2(i, 11, S.seed); if (h1 > 0.25f) continue;
      float a = hash2(i, 12, S.seed) * 6.28f, px = (hash2(i, 13, S.seed) * 2 - 0.5f) * S.cols, py = (hash2(i, 14, S.seed) * 2 - 0.5f) * S.rows, cc = cosf(a), ss = sinf(a);
      float qx = cc * (p.x - px) + ss * (p.y - py), qy = -ss * (p.x - px) + cc * (p.y - py);
      if (fabsf(qx) < 3 && fabsf(qy) < 4.2f) {
        V w = v3(0.8f, 0.8f, 0.78f); int kind = (int)(hash2(i, 15, S.seed) * 3); float ink = 0;
        if (kind == 0) { float ly = qy * 3 - floorf(qy * 3); if (ly > 0.5f && ly < 0.75f && noise2(qx * 5, floorf(qy * 3) * 7, S.seed + 2) > 0.4f && fabsf(qx) < 2.5f) ink = 0.8f; }
        else if (kind == 1) { float gx = qx * 4 - floorf(qx * 4), gy = qy * 4 - floorf(qy * 4); if (gx < 0.08f || gy < 0.08f) ink = 0.3f; }
        m.alb = mix(w, v3(0.1f, 0.1f, 0.2f), ink); m.rough = 0.7f;
      }
    }
  } else if (H.what == 5) {
    const Prim &P = W.prims[H.idx]; m.alb = v3(P.cr, P.cg, P.cb); m.rough = P.rough; m.metal = P.metal; m.spec = P.metal > 0.5f ? 0.6f : 0.05f; m.glow = m.alb * P.glow;
    if (P.type == 6) {
      m.metal = 0; m.spec = 0.05f;
      if (H.n.z > 0.5f) {
        float c = cosf(P.r), s = sinf(P.r), dx = p.x - P.px, dy = p.y - P.py, u = (c * dx + s * dy) / (2 * P.qx) + 0.5f, v = (-s * dx + c * dy) / (2 * P.qy) + 0.5f;
        V q = texture(W, (int)P.pad, u, v); m.alb = mix(m.alb, v3(P.metal, P.metal, P.metal), fmaxf(q.x, q.y));
      }
    }
    if (P.type == 3 && H.n.z > 0.5f) { float dx = p.x - P.px, dy = p.y - P.py; if (dx * dx + dy * dy < P.r2 * P.r2) { m.alb = v3(0.01f, 0.01f, 0.01f); m.spec = 0; m.metal = 0; } }
    if (P.type == 1 && P.r2 > 0 && H.n.z > 0.5f) { float dx = p.x - P.px, dy = p.y - P.py; float a = P.pad; float s = -sinf(a) * dx + cosf(a) * dy, l = cosf(a) * dx + sinf(a) * dy; if (fabsf(s) < P.r2 && l > 0) m.alb = v3(0.9f, 0.9f, 0.9f) * (m.alb.x > 0.5f ? 0.05f : 1.0f); }
  }
  return m;
}
HD V sample_cone(V l, float s, uint32_t *r) {
  V a = unit(cross(l, fabsf(l.z) < 0.9f ? v3(0, 0, 1) : v3(1, 0, 0))), b = cross(l, a); float u = sqrtf(rnd(r)) * s, w = rnd(r) * 6.2831853f;
  return unit(l + a * (u * cosf(w)) + b * (u * sinf(w)));
}
HD V sample_box(V l, float s, uint32_t *r) {
  V a = unit(cross(l, v3(0, 0, 1))), b = cross(l, a); return unit(l + a * ((rnd(r) * 2 - 1) * s) + b * ((rnd(r) * 2 - 1) * s));
}
HD V radiance(const World &W, V o, V d, uint32_t *rs, float *top) {
  const Scene &S = *W.S; V L = v3(0, 0, 0), thr = v3(1, 1, 1); bool specular = true;
  for (int bounce = 0; bounce < 3; bounce++) {
    Hit H = trace(W, o, d, 1e4f, false);
    if (H.what == 0) { L = L + thr * env(S, d, specular); break; }
    V p = o + d * H.t; Mat m = material(W, H, p, d);
    L = L + thr * m.glow;
    V n = m.n; float cosv = fmaxf(-dot(d, n), 0.02f); float f0 = m.spec;
    float fr = f0 + (1 - f0) * powf(1 - clampf(cosv, 0, 1), 5) * (1 - m.rough * 0.8f);
    V q = p + H.n * 1e-3f;
    float shade = 1;
    if (S.shadow_edge[3] > 0) { float e = S.shadow_edge[0] * p.x + S.shadow_edge[1] * p.y - S.shadow_edge[2]; shade = 1 - S.shadow_edge[3] * sstep(-0.08f, 0.08f, e); }
    V dif = m.metal > 0.5f ? m.alb * 0.25f : m.alb;
    for (int i = 0; i < S.nlight; i++) {
      V ld = f3(S.ldir[i]); float s = S.lsize[i]; V l = S.lbox[i] > 0 ? sample_box(ld, s, rs) : sample_cone(ld, s, rs);
      float ndl = dot(n, l); if (ndl <= 0 || dot(H.n, l) <= 0) continue;
      Hit sh = trace(W, q, l, 1e3f, true); if (sh.what) continue;
      V e = f3(S.lcol[i]) * (i == 0 ? shade : 1.0f);
      L = L + thr * dif * e * (ndl * 0.3183f * (1 - fr));
      if (m.rough > 0.15f) {  // rough gloss of the light itself
        V hv = unit(l - d); float nh = fmaxf(dot(n, hv), 0), a2 = m.rough * m.rough; a2 *= a2; float dd = nh * nh * (a2 - 1) + 1; float D = a2 / (3.14159f * dd * dd + 1e-6f);
        V sc = m.metal > 0.5f ? m.alb : v3(1, 1, 1); L = L + thr * sc * e * (ndl * fminf(D * f0 * 0.25f / fmaxf(cosv * 0.5f + 0.05f, 0.05f), 6.0f));
      }
    }
    bool sp = rnd(rs) < clampf(m.metal > 0.5f ? 0.75f : fr, 0, 0.95f);
    if (sp) {
      V r = d - n * (2 * dot(d, n)); r = sample_cone(unit(r), m.rough * m.rough * 0.9f, rs); if (r.z < 0.01f && H.n.z > 0.5f) r.z = 0.01f;
      d = unit(r); specular = m.rough <= 0.15f; if (m.metal > 0.5f) thr = thr * m.alb * 1.1f;
    } else {
      float u = rnd(rs), w = rnd(rs) * 6.2831853f, r = sqrtf(u); V a = unit(cross(n, fabsf(n.z) < 0.9f ? v3(0, 0, 1) : v3(1, 0, 0))), b = cross(n, a);
      d = unit(a * (r * cosf(w)) + b * (r * sinf(w)) + n * sqrtf(1 - u)); thr = thr * dif; specular = false;
      if (m.metal > 0.5f) thr = thr * 1.0f;
    }
    o = q;
    if (bounce == 2) L = L + thr * f3(S.horizon) * 0.25f;
  }
  return L;
}
HD void pixel(const World &W, int px, int py, int width, int spp, uint32_t seed, float *out) {
  const Scene &S = *W.S; V sum = v3(0, 0, 0); uint32_t rs = hash32(seed ^ hash32(px + py * 8192));
  for (int s = 0; s < spp; s++) {
    float fx = px + rnd(&rs), fy = py + rnd(&rs); V o = f3(S.cam), d;
    if (S.mode == 0) {
      float x = (fx - S.cx) / S.f, y = (fy - S.cy) / S.f;
      float xu = x, yu = y; for (int i = 0; i < 4; i++) { float r2 = xu * xu + yu * yu; xu = x / (1 + S.k1 * r2); yu = y / (1 + S.k1 * r2); }
      d = unit(f3(S.ex) * xu + f3(S.ey) * yu + f3(S.ez));
    } else {
      float x = S.A[0] * fx + S.A[1] * fy + S.A[2], y = S.A[3] * fx + S.A[4] * fy + S.A[5]; d = unit(v3(x, y, S.h) - o);
    }
    if (S.aperture > 0) { float t = S.focus / fmaxf(dot(d, f3(S.ez)), 0.1f); V p = o + d * t; float a = rnd(&rs) * 6.2831853f, r = sqrtf(rnd(&rs)) * S.aperture; o = o + f3(S.ex) * (r * cosf(a)) + f3(S.ey) * (r * sinf(a)); d = unit(p - o); }
    float top; V c = radiance(W, o, d, &rs, &top); float cl = 12.0f; sum = sum + v3(fminf(c.x, cl), fminf(c.y, cl), fminf(c.z, cl));
  }
  float k = 1.0f / spp; out[0] = sum.x * k; out[1] = sum.y * k; out[2] = sum.z * k;
}
