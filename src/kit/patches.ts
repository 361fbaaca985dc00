/** Patches as a kit carries them: the files, how they are applied, and what has to be there afterwards. */

export type KitStep =
  /** For GNU patch. */
  | { readonly kind: 'apply'; readonly sha256: string; readonly content: Uint8Array }
  /** What GNU patch does not do: binary data. */
  | {
      readonly kind: 'write';
      readonly path: string;
      readonly executable: boolean;
      readonly sha256: string;
      readonly content: Uint8Array;
    }
  | { readonly kind: 'remove'; readonly path: string };

export interface KitPatch {
  /** Of the file, relative to the spec's folder. */
  readonly path: string;
  readonly strip: number;
  readonly reverse: boolean;
  readonly fuzz: number;
  /** One, unless the patch has binary data or several messages. */
  readonly steps: readonly KitStep[];
}

/** A file that patches touch, as it must be behind the last of them. */
export type LeftFile =
  | { readonly path: string; readonly mode: '644' | '755'; readonly sha256: string }
  | { readonly path: string; readonly mode: 'gone'; readonly sha256?: never };

export interface KitPatches {
  /** In the order in which they are applied. */
  readonly stack: readonly KitPatch[];
  /** Sorted by path. */
  readonly left: readonly LeftFile[];
}

/** A file of the kit that is copied into the container and checked there. */
export interface CarriedFile {
  readonly file: string;
  readonly sha256: string;
  readonly content: Uint8Array;
}

/** What a template says for one step. */
interface StepView {
  readonly apply?: {
    readonly file: string;
    readonly strip: number;
    readonly fuzz: number;
    readonly reverse: boolean;
  };
  readonly write?: { readonly file: string; readonly path: string; readonly mode: string };
  readonly remove?: { readonly path: string };
}

/** The files of the patches, and the steps that are taken with them. */
export function layOutPatches({ stack }: KitPatches): {
  readonly files: readonly CarriedFile[];
  readonly steps: readonly StepView[];
} {
  const files: CarriedFile[] = [];
  const steps: StepView[] = [];
  for (const [index, { path, strip, reverse, fuzz, steps: wanted }] of stack.entries()) {
    const carry = (nth: number, sha256: string, content: Uint8Array): string => {
      const file = `${fileName(index, path)}${wanted.length > 1 ? `.${nth + 1}` : ''}`;
      files.push({ file, sha256, content });
      return file;
    };
    for (const [nth, step] of wanted.entries()) {
      if (step.kind === 'remove') {
        steps.push({ remove: { path: step.path } });
        continue;
      }
      const file = carry(nth, step.sha256, step.content);
      if (step.kind === 'write') {
        steps.push({ write: { file, path: step.path, mode: step.executable ? '755' : '644' } });
      } else steps.push({ apply: { file, strip, fuzz, reverse } });
    }
  }
  return { files, steps };
}

/** Numbered, so that two patches of one name do not meet; the rest of the name is there for the reader. */
function fileName(index: number, path: string): string {
  const name = path.slice(path.lastIndexOf('/') + 1).replaceAll(/[^A-Za-z0-9._-]/gu, '_');
  return `patches/${String(index + 1).padStart(4, '0')}-${name}`;
}
