export interface Need {
  /** Name of a Debian package. */
  readonly package: string;
  /** What it is for: goes on from "is there because of …". */
  readonly because: string;
}
