import type { DebianRelease, OutputKind, ReleaseSite } from './spec.ts';

interface PatchOptions {
  readonly strip?: number | undefined;
  readonly fuzz?: number | undefined;
}

export type PatchItem =
  | string
  | (PatchOptions & { readonly path: string; readonly reverse?: boolean | undefined })
  | (PatchOptions & { readonly series: string });

/** The spec as it is written: what the schema describes, defaults filled in. `Spec` is what the house works with. */
export interface SpecDocument {
  readonly quern: 1;
  readonly name: string;
  readonly kernel: {
    readonly version: string;
    readonly source: {
      readonly debian?: string | undefined;
      readonly tarball?: string | undefined;
      readonly tree?: string | undefined;
      readonly release?: ReleaseSite | undefined;
      readonly url?: string | readonly string[] | undefined;
      readonly git?: string | undefined;
      readonly tag?: string | undefined;
      readonly commit?: string | undefined;
      readonly sha256?: string | undefined;
      readonly signature?: string | undefined;
      readonly signers?: readonly string[] | undefined;
      readonly keyring?: string | undefined;
      readonly keys?: readonly string[] | undefined;
      readonly sums?: string | undefined;
    };
  };
  /** One of `architectureNames`. */
  readonly arch: string;
  readonly config: {
    readonly base:
      string | { readonly debian: string; readonly config: string } | { readonly running: string };
    readonly fragments: readonly (string | { readonly tree: string })[];
    /** Only a check of the shapes: values are read from the source text, where `0x10` is not yet 16. */
    readonly set: Readonly<Record<string, string | number>>;
  };
  readonly patches: readonly PatchItem[];
  readonly environment: {
    readonly debian: DebianRelease;
    readonly image?: string | undefined;
    readonly snapshot?: string | undefined;
    readonly gcc?: number | undefined;
    readonly llvm?: number | undefined;
  };
  readonly localversion: string;
  readonly build: {
    readonly user: string;
    readonly host: string;
    readonly epoch?: number | string | undefined;
  };
  readonly outputs: readonly OutputKind[];
}
